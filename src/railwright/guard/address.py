"""VISA addresses that the guard opens by itself: raw sockets, serial lines, HiSLIP. It imports next to
nothing: `railwright off` asks guards before all else.
"""

from __future__ import annotations

import re
from typing import Literal, NamedTuple

from railwright.guard.session_settings import USUAL, SessionSettings

_HOST = r"TCPIP\d*::(\[[^\]]+\]|[^:\s]+)"
_SOCKET = re.compile(_HOST + r"::(\d{1,5})::SOCKET", re.IGNORECASE)
_HISLIP = re.compile(_HOST + r"::(hislip[^:,\s]*)(?:,(\d{1,5}))?(?:::INSTR)?", re.IGNORECASE)
_DEVICE = re.compile(r"ASRL(\.{0,2}/(?:(?!::)\S)+)(?:::INSTR)?", re.IGNORECASE)

HISLIP_PORT = 4880
"""Port of HiSLIP where an address names none (IVI-6.1)."""

Transport = Literal["socket", "serial", "hislip", "library"]
"""What carries the messages; library: a VISA library, in a process of its own."""


class HislipPlace(NamedTuple):
    """Where a HiSLIP server is, and the name by which it knows the instrument (its sub-address)."""

    host: str
    port: int
    name: str


def socket_of(address: str) -> tuple[str, int] | None:
    """Host and port of `TCPIP::host::port::SOCKET`; None for any other kind of address."""
    found = _SOCKET.fullmatch(address.strip())
    if found is None or not 0 < int(found[2]) < 65536:
        return None
    return found[1].strip("[]"), int(found[2])


def device_of(address: str) -> str | None:
    """The serial device of `ASRL/dev/ttyUSB0::INSTR`; None for any other address, and for a line that has a
    number only, which a VISA library must know.
    """
    found = _DEVICE.fullmatch(address.strip())
    return None if found is None else found[1]


def hislip_of(address: str) -> HislipPlace | None:
    """Where `TCPIP::host::hislip0::INSTR`, or `…::hislip0,4881::INSTR`, leads; None for any other address."""
    found = _HISLIP.fullmatch(address.strip())
    if found is None:
        return None
    port = HISLIP_PORT if found[3] is None else int(found[3])
    return HislipPlace(found[1].strip("[]"), port, found[2]) if 0 < port < 65536 else None


def transport_of(address: str, settings: SessionSettings = USUAL) -> Transport:
    """What carries the messages to an address. A VISA library that is named carries all of them."""
    if settings.visa:
        return "library"
    if socket_of(address) is not None:
        return "socket"
    if device_of(address) is not None:
        return "serial"
    return "hislip" if hislip_of(address) is not None else "library"
