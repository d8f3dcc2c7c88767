"""Ways to an instrument: raw sockets, serial lines and HiSLIP of our own, and a helper process for any
other kind of address.
"""

from __future__ import annotations

import asyncio
import json
import os
import signal
import socket
import sys
from collections.abc import Awaitable, Callable
from contextlib import suppress
from dataclasses import asdict
from typing import Protocol

from railwright.guard.address import device_of, hislip_of, socket_of, transport_of
from railwright.guard.hislip import open_hislip
from railwright.guard.serial_line import open_line
from railwright.guard.session_settings import USUAL, SessionSettings

CHUNK = 65536
"""Most bytes taken from a connection at once."""

GOODBYE = 0.5
"""How long a helper may take to close its session [s]: some instruments take no other one before."""

OPEN_WAIT = 2.0
"""How long a VISA library that has started may take to open a session and to clear the instrument [s]."""


class Reader(Protocol):
    """Where bytes come from: `asyncio.StreamReader`."""

    async def read(self, n: int = -1) -> bytes:
        """Some bytes, at most n; none at the end of the connection."""


class Writer(Protocol):
    """Where bytes go: `asyncio.StreamWriter`, or the writing end of a connection in memory."""

    def write(self, data: bytes) -> None:
        """Send bytes; what cannot leave at once is kept and sent in order."""

    async def drain(self) -> None:
        """Wait until what was written has left this process; raises OSError where the connection is gone."""

    def close(self) -> None:
        """End the connection."""


Streams = tuple[Reader, Writer]
Connect = Callable[[str, SessionSettings], Awaitable[Streams]]
"""VISA address, and how its instrument is spoken to -> an open connection. OSError where there is none."""


async def connect(address: str, session_settings: SessionSettings = USUAL) -> Streams:
    """A connection to a VISA address. Raises OSError."""
    if transport_of(address, session_settings) == "library":
        return await _helper(address, session_settings)
    if (device := device_of(address)) is not None:
        return await open_line(device, session_settings.line)
    if (hislip := hislip_of(address)) is not None:
        return await open_hislip(hislip, session_settings.answers, _socket)
    place = socket_of(address)
    assert place is not None
    return await _socket(*place)


async def _socket(host: str, port: int) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
    """A TCP connection that sends small messages at once."""
    reader, writer = await asyncio.open_connection(host, port, limit=CHUNK)
    raw = writer.get_extra_info("socket")
    if raw is not None:
        raw.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        raw.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    return reader, writer


async def _helper(address: str, session_settings: SessionSettings) -> Streams:
    """A process that speaks VISA for this one address, line by line on its pipes; closing it kills it. It
    knows what ends the instrument's lines; on its pipes they end in a newline.

    No library call of it can be given a deadline that holds, so the process is what is given up.
    """
    process = await asyncio.create_subprocess_exec(
        sys.executable,
        "-m",
        "railwright.instruments.visa_helper",
        address,
        json.dumps(asdict(session_settings)),
        stdin=asyncio.subprocess.PIPE,
        stdout=asyncio.subprocess.PIPE,
        start_new_session=True,
        limit=CHUNK,
    )
    assert process.stdin is not None
    assert process.stdout is not None
    writer = _HelperWriter(process, process.stdin)
    try:
        told = await process.stdout.readline()
        if told.rstrip() == b"started":
            async with asyncio.timeout(OPEN_WAIT):
                told = await process.stdout.readline()
        if told.rstrip() != b"open":
            raise OSError(told.decode(errors="replace").strip() or "its VISA library ended without a word")
    except TimeoutError:
        writer.close()
        raise OSError(f"its VISA library opens no session within {OPEN_WAIT:g} s") from None
    except BaseException:
        # Also where nobody waits for it any longer: one that hangs would stay for ever.
        writer.close()
        raise
    return process.stdout, writer


class _HelperWriter:
    """The helper's standard input. Where it is closed, the process closes its session and ends; soon after it
    is killed, whatever it hangs in.
    """

    def __init__(self, process: asyncio.subprocess.Process, pipe: asyncio.StreamWriter) -> None:
        self._process, self._pipe = process, pipe

    def write(self, data: bytes) -> None:
        self._pipe.write(data)

    async def drain(self) -> None:
        await self._pipe.drain()

    def close(self) -> None:
        self._pipe.close()
        try:
            asyncio.get_running_loop().call_later(GOODBYE, self._kill)
        except RuntimeError:  # nobody waits for anything any more
            self._kill()

    def _kill(self) -> None:
        if self._process.returncode is None:
            with suppress(ProcessLookupError, PermissionError):
                os.killpg(self._process.pid, signal.SIGKILL)
