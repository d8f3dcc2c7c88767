"""HiSLIP (IVI-6.1) as a connection of lines: a client of the standard library, on the event loop.

A session is two TCP connections. Each message has a number, and an answer that of its question: one that
comes too late is none to the next question. Whoever reads gets one line for each question that was sent, an
empty one where a later message interrupted it (IEEE 488.2, 6.3.2.3): answers stay with their questions. Which
those are is known as that message leaves, and hangs on nothing that the server says of it, or when.
"""

from __future__ import annotations

import asyncio
import struct
from collections import deque
from collections.abc import Awaitable, Callable
from contextlib import suppress
from typing import Any

from railwright.guard.address import HislipPlace
from railwright.guard.session_settings import questions

HEADER = struct.Struct("!2sBBIQ")
"""Prologue, message type, control code, parameter, length of the payload [bytes]."""

INITIALIZE, INITIALIZE_RESPONSE, FATAL_ERROR, ERROR = 0, 1, 2, 3
DATA, DATA_END = 6, 7
INTERRUPTED = 13
ASYNC_SIZE, ASYNC_SIZE_RESPONSE, ASYNC_INITIALIZE, ASYNC_INITIALIZE_RESPONSE = 15, 16, 17, 18
"""Types of messages (IVI-6.1, table 4)."""

VERSION = 0x0100
LARGEST = 1 << 20
"""Largest payload that is taken [bytes]; a server that announces more is not followed."""

FIRST_ID, ANY_ID = 0xFFFF_FF00, 0xFFFF_FFFF
"""Number of the first message; number of an answer that names no message."""

OpenSocket = Callable[[str, int], Awaitable[tuple[Any, Any]]]
"""Host and port -> a reader and a writer, as asyncio has them."""


class HislipError(OSError):
    """The server refused, or broke the protocol."""


async def open_hislip(
    place: HislipPlace, answers: str, open_socket: OpenSocket
) -> tuple[asyncio.StreamReader, HislipWriter]:
    """Open a session with the instrument of that name. answers: what each line is to end in. Raises
    OSError.
    """
    opened: list[Any] = []
    try:
        reader, writer = await open_socket(place.host, place.port)
        opened.append(writer)
        writer.write(_message(INITIALIZE, 0, VERSION << 16, place.name.encode("ascii", "replace")))
        _, parameter, _ = await _expect(reader, INITIALIZE_RESPONSE)
        beside_reader, beside = await open_socket(place.host, place.port)
        opened.append(beside)
        beside.write(_message(ASYNC_INITIALIZE, 0, parameter & 0xFFFF))
        await _expect(beside_reader, ASYNC_INITIALIZE_RESPONSE)
        beside.write(_message(ASYNC_SIZE, 0, 0, LARGEST.to_bytes(8, "big")))
        _, _, size = await _expect(beside_reader, ASYNC_SIZE_RESPONSE)
    except asyncio.IncompleteReadError:
        _close(opened)
        raise HislipError(f"its HiSLIP server ended the connection; it may know no '{place.name}'") from None
    except BaseException:
        _close(opened)
        raise
    most = min(max(int.from_bytes(size, "big") - HEADER.size, 1), LARGEST)
    lines = asyncio.StreamReader(limit=LARGEST)
    return lines, HislipWriter((reader, writer), (beside_reader, beside), lines, answers, most)


def _close(writers: list[Any]) -> None:
    for writer in writers:
        with suppress(OSError, RuntimeError):
            writer.close()


def _message(kind: int, control: int, parameter: int, payload: bytes = b"") -> bytes:
    return HEADER.pack(b"HS", kind, control, parameter, len(payload)) + payload


async def _read(reader: Any) -> tuple[int, int, int, bytes]:
    """Type, control code, parameter and payload of the next message."""
    prologue, kind, control, parameter, length = HEADER.unpack(await reader.readexactly(HEADER.size))
    if prologue != b"HS" or length > LARGEST:
        raise HislipError("it does not speak HiSLIP")
    return kind, control, parameter, await reader.readexactly(length)


async def _expect(reader: Any, wanted: int) -> tuple[int, int, bytes]:
    """Control code, parameter and payload of the next message of a type; others are passed over."""
    while True:
        kind, control, parameter, payload = await _read(reader)
        if kind == wanted:
            return control, parameter, payload
        if kind in (FATAL_ERROR, ERROR):
            raise HislipError(_refusal(control, payload))


def _refusal(code: int, payload: bytes) -> str:
    told = payload.decode("latin-1").strip()
    return f"its HiSLIP server refuses (error {code}{': ' + ascii(told[:60]) if told else ''})"


class HislipWriter:
    """The writing end of a session, which owns both connections; what is read goes to `lines`."""

    def __init__(
        self,
        streams: tuple[Any, Any],
        beside: tuple[Any, Any],
        lines: asyncio.StreamReader,
        answers: str,
        most: int,
    ) -> None:
        self._reader, self._writer = streams
        self._beside_reader, self._beside = beside
        self._lines, self._end, self._most = lines, answers.encode("latin-1"), most
        self._next = FIRST_ID
        self._asked: deque[int] = deque()
        """Numbers of the questions whose answers may still come, in order."""
        self._interrupted = 0
        """How many of them, the first ones, have an empty line already."""
        self._delivered = False
        """Whether an answer has come to its end since the last message."""
        self._closed = self._ended = False
        loop = asyncio.get_running_loop()
        self._tasks = [loop.create_task(self._receive()), loop.create_task(self._receive_beside())]

    def write(self, data: bytes) -> None:
        """Send one message, whole."""
        if self._closed:
            return
        number, self._next = self._next, (self._next + 2) & 0xFFFF_FFFF
        while self._interrupted < len(self._asked):
            self._feed(b"")
            self._interrupted += 1
        if questions(data.decode("latin-1")):
            self._asked.append(number)
        *parts, last = [data[at : at + self._most] for at in range(0, len(data), self._most)]
        control, self._delivered = int(self._delivered), False
        pieces = [_message(DATA, control, number, part) for part in parts]
        self._writer.write(b"".join([*pieces, _message(DATA_END, control, number, last)]))

    async def drain(self) -> None:
        """Wait until what was written has left this process. Raises OSError where the session is over."""
        if self._lines.exception() is not None:
            raise self._lines.exception() or HislipError("the session is over")
        await self._writer.drain()

    def close(self) -> None:
        """End both connections."""
        if self._closed:
            return
        self._closed = True
        with suppress(RuntimeError):  # the loop may be closed
            for task in self._tasks:
                task.cancel()
            _close([self._writer, self._beside])
            self._lines.feed_eof()

    async def _receive(self) -> None:
        """Answers, and what interrupts them, until the session ends."""
        part, begun = b"", ANY_ID
        with suppress(asyncio.CancelledError):
            try:
                while True:
                    kind, control, parameter, payload = await _read(self._reader)
                    if kind in (DATA, DATA_END):
                        # One that was interrupted may never have come to its end.
                        part, begun = (part if parameter == begun else b"") + payload, parameter
                        if len(part) > LARGEST:
                            raise HislipError(f"its answer does not end: {len(part)} bytes so far")
                        if kind == DATA_END:
                            self._answered(parameter, part)
                            part = b""
                    elif kind == INTERRUPTED:
                        part = b""
                        self._void_before(parameter)
                    elif kind in (FATAL_ERROR, ERROR):
                        raise HislipError(_refusal(control, payload))
            except (OSError, asyncio.IncompleteReadError) as error:
                self._over(error)

    async def _receive_beside(self) -> None:
        """Nothing that is told here is needed, but that it ends."""
        with suppress(asyncio.CancelledError):
            try:
                while True:
                    await _read(self._beside_reader)
            except (OSError, asyncio.IncompleteReadError) as error:
                self._over(error)

    def _over(self, error: Exception) -> None:
        if self._closed or self._ended:
            return
        self._ended = True
        if isinstance(error, asyncio.IncompleteReadError):
            self._lines.feed_eof()
        else:
            self._lines.set_exception(error)

    def _answered(self, number: int, payload: bytes) -> None:
        self._delivered = True
        if number == ANY_ID and self._asked:
            number = self._asked[0]
        if number not in self._asked:
            return  # too late, or nobody's
        self._void_before(number)
        self._resolve(payload.rstrip(b"\r\n"))

    def _void_before(self, number: int) -> None:
        """Questions before this message get no answer any more."""
        while self._asked and 0 < (number - self._asked[0]) & 0xFFFF_FFFF < 1 << 31:
            self._resolve(b"")

    def _resolve(self, answer: bytes) -> None:
        """Nothing more comes to the first question; it gets its line, where it has none yet."""
        self._asked.popleft()
        if self._interrupted:
            self._interrupted -= 1
        else:
            self._feed(answer)

    def _feed(self, line: bytes) -> None:
        if not self._ended:
            self._lines.feed_data(line + self._end)
