"""How contacts of relays are moved and asked how they stand: SCPI-1999's own tree (vol. 2: ROUTe:CLOSe,
ROUTe:OPEN, with channel lists; from memory). Light, so that `railwright off` may use it.
"""

from __future__ import annotations

from collections.abc import Sequence

from railwright.guard.off_plan import ContactOff
from railwright.scpi.channels import format_channels

CLOSED = {"1": True, "ON": True, "0": False, "OFF": False}
"""What `ROUTe:CLOSe?` answers of each channel (SCPI-1999 vol. 1, 7.3: a boolean is 1 or 0)."""


def command_of(channel: int, closed: bool) -> str:
    """What moves a contact."""
    return f"ROUTe:{'CLOSe' if closed else 'OPEN'} {format_channels((channel,))}"


def query_of(channels: Sequence[int]) -> str:
    """What asks how contacts stand."""
    return f"ROUTe:CLOSe? {format_channels(tuple(channels))}"


def contact_off(
    name: str, channel: int, stands: str, inputs: tuple[str, ...], under_load: bool, pin: str = ""
) -> ContactOff:
    """What an off plan says of one contact, which comes to stand `closed` or `open`. pin: what it drives."""
    closed = stands == "closed"
    words = tuple(word for word, means in CLOSED.items() if means == closed)
    return ContactOff(
        name,
        inputs,
        command_of(channel, closed),
        query_of((channel,)),
        words,
        stands,
        under_load or bool(pin),
        pin,
    )
