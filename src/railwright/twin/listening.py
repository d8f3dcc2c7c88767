"""The listening socket of a twin, which can refuse connections for a while, and a connection reset by the
peer.
"""

from __future__ import annotations

import asyncio
import contextlib
import socket
import struct
from collections.abc import Awaitable, Callable
from typing import Any

from railwright.virtual_time import MemoryWriter

Accept = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]

LOOPBACK = "127.0.0.1"

TRY_AGAIN = 20e-3
"""Pause before a port that somebody else has is tried again [s]."""


class Listening:
    """One listening socket. accept: serves a connection. limit: bytes of one read."""

    def __init__(self, accept: Accept, limit: int) -> None:
        self._accept, self._limit = accept, limit
        self._server: asyncio.Server | None = None
        self._address = ("", 0)
        self._opening: asyncio.Task[None] | None = None

    async def open(self, host: str, port: int) -> int:
        """Listen (port 0: on a free one) and give the port. Raises OSError when the address cannot be had."""
        self._server = await asyncio.start_server(self._accept, host, port, limit=self._limit)
        self._address = (host, int(self._server.sockets[0].getsockname()[1]))
        return self._address[1]

    def refuse(self, refusing: bool) -> None:
        """Stop listening, so that the system refuses connections; or listen again, at the same address."""
        self.close()
        if not refusing:
            self._opening = asyncio.get_running_loop().create_task(self._open_again())

    async def _open_again(self) -> None:
        while True:
            with contextlib.suppress(OSError):
                await self.open(*self._address)
                return
            await asyncio.sleep(TRY_AGAIN)

    def close(self) -> None:
        """Listen no more; connections go on."""
        if self._opening is not None:
            self._opening.cancel()
            self._opening = None
        if self._server is not None:
            self._server.close()
            self._server = None


def reset(writer: Any) -> None:
    """Drop a connection as after a crash: what is under way is lost, and the other side is told that it was
    reset by the peer.
    """
    if not isinstance(writer, MemoryWriter):
        raw = writer.get_extra_info("socket")
        if raw is not None:
            raw.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    writer.transport.abort()
