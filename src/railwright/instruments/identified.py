"""Who an instrument beside the supplies says that it is, held against the bench document."""

from __future__ import annotations

from railwright.instruments.errors import InstrumentError
from railwright.instruments.supply import Identity
from railwright.printable import printable

IDENTIFY, NEXT_ERROR = "*IDN?", "SYSTem:ERRor?"


def identified(name: str, answer: str, model: str | None, serial: str | None) -> Identity:
    """What an answer to `*IDN?` says. InstrumentError where it has not four fields, or another model or
    serial number than the bench document (None: it gives none).
    """
    parts = [printable(each.strip(), one_line=True) for each in answer.split(",")]
    if len(parts) != 4:
        told = f"expected four fields, got '{answer}': an unknown instrument"
        raise InstrumentError(name, IDENTIFY, told)
    identity = Identity(parts[0], parts[1], parts[2], parts[3], answer)
    for what, wanted, got in (
        ("model", model, identity.model),
        ("serial number", serial, identity.serial),
    ):
        if wanted is not None and wanted != got:
            told = f"expected the {what} '{wanted}' of the bench document, got '{got}'"
            raise InstrumentError(name, IDENTIFY, told)
    return identity
