"""VISA addresses of raw sockets. It imports next to nothing: `railwright off` asks guards before all else."""

from __future__ import annotations

import re

_SOCKET = re.compile(r"TCPIP\d*::(\[[^\]]+\]|[^:\s]+)::(\d{1,5})::SOCKET", re.IGNORECASE)


def socket_of(address: str) -> tuple[str, int] | None:
    """Host and port of `TCPIP::host::port::SOCKET`; None for any other kind of address."""
    found = _SOCKET.fullmatch(address.strip())
    if found is None or not 0 < int(found[2]) < 65536:
        return None
    return found[1].strip("[]"), int(found[2])
