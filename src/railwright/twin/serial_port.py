"""A twin on a serial line: a pseudo-terminal, which a program opens as any serial device.

Bytes take the time that the line gives them, and a program that has set another rate is not understood.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import fcntl
import os
import termios
import tty
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

from railwright.documents.serial_line import SerialLine

PSEUDO = "/dev/pts/"
NOISE = 0xA5
"""What a byte is changed by that was sent at another rate."""

Accept = Callable[[asyncio.StreamReader, Any], Awaitable[None]]


def _is_served(device: str) -> bool:
    """Whether a twin of another process has this pseudo-terminal; not where another program has its number by
    now.
    """
    try:
        descriptor = os.open(device, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    except OSError:
        return False
    try:
        fcntl.lockf(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return True
    finally:
        os.close(descriptor)
    return False


class SerialPort:
    """One pseudo-terminal. accept: serves whoever is at its other end; nobody can tell how many that are."""

    def __init__(self, accept: Accept, line: SerialLine) -> None:
        self._accept, self._line = accept, line
        self._reader = asyncio.StreamReader()
        self._near = self._far = -1
        self._device = ""
        self._link: Path | None = None
        self._refusing = False
        self._serving: asyncio.Task[None] | None = None

    def open(self, path: str) -> str:
        """Open it and give its device; path: what is to lead there, '' for nothing. OSError where a file of
        another kind is in the way, or the twin of another process is there.
        """
        link = Path(path) if path else None
        # One that was left by a twin that was killed.
        left = link is not None and link.is_symlink() and os.readlink(link).startswith(PSEUDO)
        if link is not None and left and _is_served(os.readlink(link)):
            raise OSError(errno.EADDRINUSE, f"another twin is there, at {os.readlink(link)}; end that first")
        self._near, self._far = os.openpty()
        tty.setraw(self._far)
        # A lock of the process: whoever uses the line locks it in another way, by `flock`.
        fcntl.lockf(self._far, fcntl.LOCK_EX | fcntl.LOCK_NB)
        device = self._device = os.ttyname(self._far)
        if link is not None:
            if left:
                link.unlink()
            link.symlink_to(device)
            self._link = link
        os.set_blocking(self._near, False)
        loop = asyncio.get_running_loop()
        loop.add_reader(self._near, self._receive)
        self._serving = loop.create_task(self._serve())
        return device

    def refuse(self, refusing: bool) -> None:
        """Hear nothing, as with the cable pulled; or hear again."""
        self._refusing = refusing

    def close(self) -> None:
        """End it: whoever has it open is told that the line is gone."""
        if self._near < 0:
            return
        with contextlib.suppress(RuntimeError):
            asyncio.get_running_loop().remove_reader(self._near)
        if self._serving is not None:
            self._serving.cancel()
        for descriptor in (self._near, self._far):
            os.close(descriptor)
        self._near = self._far = -1
        if self._link is not None:
            with contextlib.suppress(OSError):
                if os.readlink(self._link) == self._device:
                    self._link.unlink()

    async def _serve(self) -> None:
        """One after another, as each is dropped by a fault of a script. Who serves takes a cancelling for the
        end of its client: what ends this is that the line is closed.
        """
        while self._near >= 0:
            await self._accept(self._reader, PortWriter(self._near))
            await asyncio.sleep(0.01)

    def _receive(self) -> None:
        with contextlib.suppress(OSError):
            data = os.read(self._near, 4096)
            if not self._refusing:
                self._reader.feed_data(data if self._agrees() else bytes(byte ^ NOISE for byte in data))

    def _agrees(self) -> bool:
        """Whether the other end has set this line's rate; a pseudo-terminal has no other settings."""
        speed = getattr(termios, f"B{self._line.baud}")
        return termios.tcgetattr(self._far)[4:6] == [speed, speed]


class PortWriter:
    """What a server writes to; the part of `asyncio.StreamWriter` that it uses."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor
        self._closed = False

    @property
    def transport(self) -> PortWriter:
        return self

    def set_write_buffer_limits(self, high: int | None = None, low: int | None = None) -> None:
        """Nothing is kept: what nobody reads is lost, as on a line."""

    def write(self, data: bytes) -> None:
        if not self._closed:
            with contextlib.suppress(OSError):
                os.write(self._descriptor, data)

    async def drain(self) -> None:
        if self._closed:
            raise ConnectionResetError("the line is closed")

    def is_closing(self) -> bool:
        return self._closed

    def get_extra_info(self, name: str) -> None:
        """There is no socket."""

    def close(self) -> None:
        self._closed = True

    abort = close

    async def wait_closed(self) -> None:
        await asyncio.sleep(0)


class PacedReader:
    """Gives bytes when the last of them has passed a line with this time for a byte [s]."""

    def __init__(self, reader: asyncio.StreamReader, byte_time: float) -> None:
        self._reader, self._byte_time = reader, byte_time
        self._free_at = 0.0

    async def read(self, limit: int = -1) -> bytes:
        data = await self._reader.read(limit)
        now = asyncio.get_running_loop().time()
        self._free_at = max(now, self._free_at) + len(data) * self._byte_time
        await asyncio.sleep(self._free_at - now)
        return data


class PacedWriter:
    """Passes bytes on when the last of them has passed a line with this time for a byte [s]."""

    def __init__(self, writer: Any, byte_time: float) -> None:
        self._writer, self._byte_time = writer, byte_time
        self._loop = asyncio.get_running_loop()
        self._free_at = 0.0

    def write(self, data: bytes) -> None:
        self._free_at = max(self._loop.time(), self._free_at) + len(data) * self._byte_time
        self._loop.call_at(self._free_at, self._writer.write, data)

    async def drain(self) -> None:
        await asyncio.sleep(max(0.0, self._free_at - self._loop.time()))
        await self._writer.drain()

    def get_extra_info(self, name: str) -> None:
        """A line has no socket."""

    def __getattr__(self, name: str) -> Any:
        """Everything else is the line's own."""
        return getattr(self._writer, name)
