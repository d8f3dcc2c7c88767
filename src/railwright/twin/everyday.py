"""What all simulated instruments do alike: say who they are, refuse too few or too many parameters, and those
with a status have the common commands of IEEE 488.2-1992, chapter 10, and SYSTem of SCPI-1999.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Protocol, TypeVar

from railwright.documents.bench import ElectronicLoad, Multimeter, Supply
from railwright.documents.relays import Relays
from railwright.scpi.data import Datum
from railwright.scpi.errors import ScpiError
from railwright.scpi.parameters import integer_in
from railwright.twin.registers import Status
from railwright.version import TWIN_MAKER, __version__


def identification(document: Supply | Multimeter | ElectronicLoad | Relays, model: str, token: str) -> str:
    """Four fields: who made it, model, serial number (0: none), version (10.14.3). model: where the document
    gives none.

    The version ends with the token of this very twin: two twins of one document are two instruments.
    """
    fields = (TWIN_MAKER, document.model or model, document.serial or "0", f"{__version__}-{token}")
    return ",".join(field.replace(",", " ").replace(";", " ") for field in fields)


def expect_count(given: Sequence[Datum], least: int, most: int, header: str) -> None:
    """-109 where a header has fewer parameters than it takes, -108 where it has more."""
    if not least <= len(given) <= most:
        raise ScpiError(-109 if len(given) < least else -108, header)


def _read_events(status: Status, given: tuple[Datum, ...]) -> str:
    events, status.standard_event = status.standard_event, 0
    return str(events)


def _enable_events(status: Status, given: tuple[Datum, ...]) -> None:
    status.standard_enable = integer_in(given[0], 0, 255)


def _enable_service(status: Status, given: tuple[Datum, ...]) -> None:
    """Bit 6 cannot be enabled (11.3.2)."""
    status.service_enable = integer_in(given[0], 0, 255) & ~(1 << 6)


OF_STATUS: Mapping[str, tuple[Callable[[Status, tuple[Datum, ...]], str | None], int]] = {
    "*TST?": (lambda status, _: "0", 0),
    "*OPC?": (lambda status, _: "1", 0),
    "*WAI": (lambda status, _: None, 0),
    "*ESR?": (_read_events, 0),
    "*ESE": (_enable_events, 1),
    "*ESE?": (lambda status, _: str(status.standard_enable), 0),
    "*SRE": (_enable_service, 1),
    "*SRE?": (lambda status, _: str(status.service_enable), 0),
    "*STB?": (lambda status, _: str(status.status_byte(answer_waiting=False)), 0),
    "SYSTem:ERRor[:NEXT]?": (lambda status, _: status.errors.take(), 0),
    "SYSTem:ERRor:COUNt?": (lambda status, _: str(len(status.errors)), 0),
    "SYSTem:VERSion?": (lambda status, _: "1999.0", 0),
}
"""Header -> what it does to the status, or asks of it, and how many parameters it takes. *OPC? and *WAI wait
in the server; here nothing is pending any more.
"""

Called = TypeVar("Called")


class _HasStatus(Protocol):
    status: Status


def on_status(
    run: Callable[[Status, tuple[Datum, ...]], str | None], parameters: Callable[[Called], tuple[Datum, ...]]
) -> Callable[[_HasStatus, Called], str | None]:
    """One of these as a command of an instrument. parameters: of what a command of it is called with."""
    return lambda instrument, called: run(instrument.status, parameters(called))
