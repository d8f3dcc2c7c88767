"""Addresses of instruments: what is a VISA resource name, and what one that is none should look like."""

from __future__ import annotations

import os
import re

from railwright.documents.sources import either
from railwright.guard.address import device_of, socket_of
from railwright.quantities import quoted

FORMS = {
    "TCPIP": ("TCPIP::192.0.2.10::5025::SOCKET", "TCPIP::192.0.2.10::INSTR"),
    "USB": ("USB::0x1234::0x5678::SERIAL::INSTR",),
    "GPIB": ("GPIB0::5::INSTR",),
    "ASRL": ("ASRL/dev/ttyUSB0::INSTR",),
}
"""Interface -> names to follow in a message."""

PLAIN = re.compile(
    r"(?:TCPIP\d*::[^:\s]+(?:::[^:\s]+)?|USB\d*(?:::[^:\s]+){3,4}|GPIB\d*::\d+(?:::\d+)?|ASRL[^:\s]+)::INSTR"
)
"""What the VISA library takes for a name without doubt. Importing it takes a quarter of the time of a static
check, so that it is asked about all other addresses only.
"""

GPIB = re.compile(r"(GPIB\d*)::\d+(?:::.*)?", re.IGNORECASE)
GATEWAY = re.compile(r"(TCPIP\d*::[^:\s]+::gpib\d*),\d+.*", re.IGNORECASE)
"""A GPIB behind a VXI-11 gateway (VXI-11.2)."""
UNTRIED = re.compile(r"USB|GPIB|VXI|PXI|PRLGX", re.IGNORECASE)


DEVICES, PSEUDO = "/dev/", "/dev/pts/"
"""Where devices are, and the pseudo-terminals among them, to which no wire leads."""

HOST = re.compile(r"TCPIP\d*::(\[[^\]]+\]|[^:\s]+)::", re.IGNORECASE)
"""The beginning of an address on a network, with its host."""


def visa_address(given: str) -> str:
    """The address as it was given. ValueError where it is no VISA resource name.

    What the guard opens as a socket of its own needs no VISA library, and none is imported for it.
    """
    if socket_of(given) is not None or PLAIN.fullmatch(given):
        return given
    from pyvisa import rname

    try:
        name = rname.parse_resource_name(given)
    except (rname.InvalidResourceName, IndexError):  # an interface alone is an IndexError in it
        raise ValueError(
            f"expected a VISA resource name such as {_forms(given)}, got {quoted(given)}"
        ) from None
    if isinstance(name, rname.TCPIPSocket):  # it takes any text for host and port
        what = "a host without spaces and a port from 1 to 65535"
        raise ValueError(f"expected {what} in a name such as {_forms(given, 1)}, got {quoted(given)}")
    return given


def is_of_this_computer(address: str) -> bool:
    """Whether an address leads to this computer itself, by its network or a pseudo-terminal, also by a link
    to one: simulated supplies answer there, and what is passed on from elsewhere. No name is looked up. Where
    a link of one's own is not there yet, a simulated supply will put it: it is no device.
    """
    if (device := device_of(address)) is not None:
        leads_to = os.path.realpath(device)
        yet_to_come = not os.path.lexists(device) and not leads_to.startswith(DEVICES)
        return yet_to_come or leads_to.startswith(PSEUDO)
    found = HOST.match(address.strip())
    host = found[1].strip("[]").lower() if found is not None else ""
    return host in ("localhost", "::1") or re.fullmatch(r"127(\.\d{1,3}){3}", host, re.ASCII) is not None


def gpib_of(address: str) -> str | None:
    """The GPIB that carries its messages, here or behind a gateway; None where it has none."""
    found = GPIB.fullmatch(address) or GATEWAY.fullmatch(address)
    return None if found is None else re.sub(r"^(GPIB|TCPIP)(?=::|$)", r"\g<1>0", found[1].upper())


def untried_of(address: str) -> str | None:
    """The interface of an address where it was not tried with this program; None where it was."""
    found = UNTRIED.match(address)
    return None if found is None else found[0].upper()


def _forms(given: str, most: int = 2) -> str:
    """Names to follow: those of the interface that is meant, else one of each."""
    meant = next((kind for kind in FORMS if given.strip().upper().startswith(kind)), None)
    return either(FORMS[meant][:most] if meant else (forms[0] for forms in FORMS.values()))
