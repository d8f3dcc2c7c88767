"""A serial line as a connection: a terminal device in raw mode, on the event loop, by the standard library.

It has one user at a time (flock, as pyserial's `exclusive` takes it): two readers would take answers from
each other. Nothing here blocks: what cannot leave is kept, and thrown away where the line is closed, because
a device whose flow control holds it up would let `close` wait for half a minute.
"""

from __future__ import annotations

import asyncio
import errno
import fcntl
import grp
import os
import termios
from contextlib import suppress

from railwright.guard.session_settings import LineSettings

CHUNK = 4096
"""Most bytes taken from a line at once."""

DATA_BITS = {5: termios.CS5, 6: termios.CS6, 7: termios.CS7, 8: termios.CS8}

_LEFT_BY: dict[str, float] = {}
"""Device -> when what this process has told it has left [s, the loop's clock]. A line goes on sending after
whoever wrote has closed it.
"""

PSEUDO = "/dev/pts/"
"""Pseudo-terminals, which take any line settings and have eight data bits."""


async def open_line(device: str, settings: LineSettings) -> tuple[asyncio.StreamReader, LineWriter]:
    """Open and set a line; what came in before is thrown away. Raises OSError.

    Nothing that was told to the instrument before is: a message that had begun would lose its end.
    """
    try:
        descriptor = os.open(device, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK | os.O_CLOEXEC)
    except PermissionError:
        told = f"permission denied; whoever uses {device} has to be in the group '{_group_of(device)}'"
        raise OSError(errno.EACCES, told) from None
    try:
        _take(descriptor, device)
        set_line(descriptor, settings, device)
        termios.tcflush(descriptor, termios.TCIFLUSH)
        if settings.flow_control == "software":
            termios.tcflow(descriptor, termios.TCOON)
    except termios.error as error:
        os.close(descriptor)
        raise OSError(error.args[0], f"{device} is no serial line ({error.args[1]})") from None
    except BaseException:
        os.close(descriptor)
        raise
    reader = asyncio.StreamReader()
    return reader, LineWriter(descriptor, reader, device, settings.byte_time)


def _group_of(device: str) -> str:
    number = os.stat(device).st_gid
    try:
        return grp.getgrgid(number).gr_name
    except KeyError:
        return str(number)


def _take(descriptor: int, device: str) -> None:
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise OSError(errno.EBUSY, f"another program of this computer uses {device}") from None


def set_line(descriptor: int, settings: LineSettings, device: str = "") -> None:
    """Put a terminal into raw mode with these settings. OSError where it does not take them."""
    speed = getattr(termios, f"B{settings.baud}", None)
    if speed is None:
        raise OSError(errno.EINVAL, f"this system has no {settings.baud} Bd")
    if settings.data_bits not in DATA_BITS:
        raise OSError(errno.EINVAL, f"no line has {settings.data_bits} data bits")
    control = DATA_BITS[settings.data_bits] | termios.CREAD | termios.CLOCAL
    control |= termios.CSTOPB if settings.stop_bits == 2 else 0
    if settings.parity != "none":
        control |= termios.PARENB | (termios.PARODD if settings.parity == "odd" else 0)
    control |= termios.CRTSCTS if settings.flow_control == "hardware" else 0
    # A byte whose parity is wrong comes as NUL, which no answer has.
    inputs = termios.INPCK if settings.parity != "none" else 0
    inputs |= termios.IXON | termios.IXOFF if settings.flow_control == "software" else 0
    *_, characters = termios.tcgetattr(descriptor)
    characters[termios.VMIN], characters[termios.VTIME] = 1, 0
    # Without HUPCL: that a program ends changes nothing on the line.
    termios.tcsetattr(descriptor, termios.TCSANOW, [inputs, 0, control, 0, speed, speed, characters])
    there = termios.tcgetattr(descriptor)
    bits = termios.CSIZE | termios.PARENB | termios.PARODD | termios.CSTOPB | termios.CRTSCTS
    if not os.path.realpath(device).startswith(PSEUDO) and (
        there[2] & bits != control & bits or there[4:6] != [speed, speed]
    ):
        raise OSError(errno.EINVAL, f"{device or 'the line'} does not take {described(settings)}")


def described(settings: LineSettings) -> str:
    """A line's settings in words."""
    return (
        f"{settings.baud} Bd, {settings.data_bits} data bits, parity {settings.parity}, "
        f"{settings.stop_bits} stop bit{'s' if settings.stop_bits > 1 else ''}, "
        f"flow control {settings.flow_control}"
    )


class LineWriter:
    """The writing end of a line, which owns the device."""

    def __init__(self, descriptor: int, reader: asyncio.StreamReader, device: str, byte_time: float) -> None:
        self._descriptor, self._reader = descriptor, reader
        self._loop = asyncio.get_running_loop()
        self._waiting = bytearray()
        self._empty = asyncio.Event()
        self._empty.set()
        self._failure: OSError | None = None
        self._byte_time, self._device = byte_time, os.path.realpath(device)
        self._loop.add_reader(descriptor, self._receive)

    def write(self, data: bytes) -> None:
        """Send bytes; what the device does not take at once is kept and sent in order."""
        if self._descriptor < 0 or self._failure is not None:
            return
        _LEFT_BY[self._device] = max(self.free_at, self._loop.time()) + len(data) * self._byte_time
        self._waiting += data
        self._send()
        if self._waiting:
            self._empty.clear()
            self._loop.add_writer(self._descriptor, self._send)

    @property
    def free_at(self) -> float:
        """When the last byte that was told to this device, in this session or before, has left [s]."""
        return _LEFT_BY.get(self._device, 0.0)

    async def drain(self) -> None:
        """Wait until the device has taken everything. Raises OSError where the line is gone."""
        await self._empty.wait()
        if self._failure is not None:
            raise self._failure

    def is_closing(self) -> bool:
        return self._descriptor < 0

    def close(self) -> None:
        """End it at once; what the device still holds back is thrown away."""
        descriptor, self._descriptor = self._descriptor, -1
        if descriptor < 0:
            return
        with suppress(RuntimeError):  # the loop may be closed
            self._loop.remove_reader(descriptor)
            self._loop.remove_writer(descriptor)
        with suppress(termios.error):
            if self._waiting or _held_back(descriptor):
                termios.tcflush(descriptor, termios.TCOFLUSH)
                _LEFT_BY[self._device] = 0.0
        with suppress(OSError):
            os.close(descriptor)
        self._empty.set()
        self._reader.feed_eof()

    def _send(self) -> None:
        try:
            while self._waiting:
                sent = os.write(self._descriptor, self._waiting)
                del self._waiting[:sent]
        except BlockingIOError:
            return
        except OSError as error:
            self._fail(error)
            return
        self._loop.remove_writer(self._descriptor)
        self._empty.set()

    def _receive(self) -> None:
        try:
            data = os.read(self._descriptor, CHUNK)
        except BlockingIOError:
            return
        except OSError as error:
            self._fail(error)
            return
        if data:
            self._reader.feed_data(data)
        else:
            self._fail(OSError(errno.EIO, "the line is gone"))

    def _fail(self, error: OSError) -> None:
        """The device is gone, such as an adapter that was pulled out."""
        self._failure = error
        self._loop.remove_reader(self._descriptor)
        self._loop.remove_writer(self._descriptor)
        self._waiting.clear()
        self._empty.set()
        if self._reader.exception() is None:
            self._reader.set_exception(error)


def _held_back(descriptor: int) -> bool:
    """Whether bytes are still to leave."""
    try:
        counted = fcntl.ioctl(descriptor, termios.TIOCOUTQ, b"\0\0\0\0")
    except OSError:
        return True
    return int.from_bytes(counted, "little") > 0
