"""A twin over HiSLIP: the server's side of IVI-6.1, in its synchronized mode, by hand from the standard.

Locks are not offered: a client that asks for one is told so.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import struct
from collections.abc import Callable, Coroutine
from dataclasses import dataclass, field
from typing import Any

Accept = Callable[[Any, Any], Coroutine[Any, Any, None]]
Interrupt = Callable[[], None]

HEAD = struct.Struct("!2sBBIQ")
LARGEST = 1 << 18
"""Largest message that is taken, header included [bytes]."""

INTERRUPTED, ASYNC_INTERRUPTED = 13, 14
BAD_HEADER, NOT_INITIALIZED, BAD_INITIALIZE = 1, 2, 3
UNKNOWN_TYPE, TOO_LARGE = 1, 4


class HislipServer:
    """Serves sessions with the instrument of one name. accept: serves the messages of a session; interrupted:
    told when an answer is lost because the next message came before it was read (IEEE 488.2, 6.3.2.3).
    status: gives the status byte.
    """

    def __init__(self, name: str, accept: Accept, interrupted: Interrupt, status: Callable[[], int]) -> None:
        self._name, self._accept, self._interrupted, self._status = name, accept, interrupted, status
        self._numbers = itertools.count(1)
        self._sessions: dict[int, _Session] = {}

    async def accept(self, reader: Any, writer: Any) -> None:
        """One TCP connection, from its first message to its end."""
        with contextlib.suppress(asyncio.IncompleteReadError, ConnectionError, OSError):
            kind, _, parameter, payload = await _take(reader)
            if kind == 0:
                await self._synchronous(reader, writer, payload.decode("latin-1"))
            elif kind == 17:
                await self._asynchronous(reader, writer, parameter)
            else:
                _send(writer, 2, NOT_INITIALIZED)
        with contextlib.suppress(ConnectionError, OSError, RuntimeError):
            writer.close()

    async def _synchronous(self, reader: Any, writer: Any, name: str) -> None:
        if name.lower() not in ("", self._name.lower()):
            _send(writer, 2, BAD_INITIALIZE, 0, b"there is no such device")
            return
        number = next(self._numbers) & 0xFFFF
        session = self._sessions[number] = _Session(writer)
        _send(writer, 1, 0, 0x0100 << 16 | number)
        loop = asyncio.get_running_loop()
        serving = loop.create_task(self._accept(session, session))
        # Whoever drops the session ends this task, too.
        serving.add_done_callback(lambda _: session.close())
        try:
            while True:
                kind, control, parameter, payload = await _take(reader)
                self._heard(session, kind, control, parameter, payload)
        finally:
            session.messages.put_nowait(None)
            session.close()
            self._sessions.pop(number, None)

    def _heard(self, session: _Session, kind: int, control: int, parameter: int, payload: bytes) -> None:
        """One message on the synchronous channel."""
        if kind in (6, 7, 12):
            if control & 1:
                session.unread = False
            if session.unread or session.answers_to_come:
                session.void(parameter)
                self._interrupted()
            session.held += payload
            if kind != 6:
                text = b"*TRG" if kind == 12 else bytes(session.held)
                session.held.clear()
                session.put(parameter, text)
        elif kind == 8:
            session.clear()
            _send(session.writer, 9)
        else:
            _send(session.writer, 3, UNKNOWN_TYPE)

    async def _asynchronous(self, reader: Any, writer: Any, number: int) -> None:
        session = self._sessions.get(number)
        if session is None:
            _send(writer, 2, BAD_INITIALIZE)
            return
        session.beside = writer
        _send(writer, 18)
        while True:
            kind, control, _, _ = await _take(reader)
            if kind == 15:
                _send(writer, 16, 0, 0, LARGEST.to_bytes(8, "big"))
            elif kind == 19:
                session.clear()
                _send(writer, 23)
            elif kind == 21:
                session.unread = session.unread and not control & 1
                _send(writer, 22, self._status() | (16 if session.unread else 0))
            elif kind == 10:
                _send(writer, 11)
            elif kind == 24:
                _send(writer, 25)
            else:
                _send(writer, 3, UNKNOWN_TYPE)


@dataclass(eq=False)
class _Session:
    """One client, as a server of lines sees it: a reader and a writer.

    answers_to_come: questions that were not answered yet. unread: an answer went out, and the client did not
    say since that it has it.
    """

    writer: Any
    beside: Any = None
    messages: asyncio.Queue[tuple[int, bytes] | None] = field(default_factory=asyncio.Queue)
    held: bytearray = field(default_factory=bytearray)
    asked: list[int] = field(default_factory=list)
    unread: bool = False
    number: int = 0
    """Of the message that is being carried out."""
    closed: bool = False

    @property
    def answers_to_come(self) -> bool:
        return bool(self.asked)

    def put(self, number: int, text: bytes) -> None:
        """Hand over a whole message."""
        if b"?" in text:
            self.asked.append(number)
        self.messages.put_nowait((number, text if text.endswith(b"\n") else text + b"\n"))

    def void(self, number: int) -> None:
        """Answers to what came before are lost; the client is told on both channels."""
        self.asked.clear()
        self.unread = False
        if self.beside is not None:
            _send(self.beside, ASYNC_INTERRUPTED, 0, number)
        _send(self.writer, INTERRUPTED, 0, number)

    def clear(self) -> None:
        """Device clear: what came in, and what was to go out, is forgotten."""
        self.held.clear()
        self.asked.clear()
        self.unread = False
        while not self.messages.empty():
            self.messages.get_nowait()

    # As a reader

    async def read(self, limit: int = -1) -> bytes:
        """The next message, once the one before is carried out."""
        if self.number in self.asked:
            self.asked.remove(self.number)  # it asked something, and nothing is answered
        found = await self.messages.get()
        if found is None:
            return b""
        self.number, text = found
        return text

    # As a writer

    @property
    def transport(self) -> _Session:
        return self

    def set_write_buffer_limits(self, high: int | None = None, low: int | None = None) -> None:
        """As the connection has them."""

    def write(self, data: bytes) -> None:
        """An answer to the message that is being carried out; one without its end has no END either."""
        ended = data.endswith(b"\n")
        if self.number not in self.asked and not self.unread:
            return  # it was interrupted, or cleared
        if ended and self.number in self.asked:
            self.asked.remove(self.number)
        self.unread = True
        _send(self.writer, 7 if ended else 6, 0, self.number, data)

    async def drain(self) -> None:
        await self.writer.drain()

    def is_closing(self) -> bool:
        return self.closed

    def get_extra_info(self, name: str) -> Any:
        return self.writer.get_extra_info(name) if hasattr(self.writer, "get_extra_info") else None

    def close(self) -> None:
        self.closed = True
        for writer in (self.writer, self.beside):
            if writer is not None:
                with contextlib.suppress(ConnectionError, OSError, RuntimeError):
                    writer.close()

    def abort(self) -> None:
        self.closed = True
        for writer in (self.writer, self.beside):
            if writer is not None:
                writer.transport.abort()

    async def wait_closed(self) -> None:
        await asyncio.sleep(0)


async def _take(reader: Any) -> tuple[int, int, int, bytes]:
    """Type, control code, parameter, payload. ConnectionError for what is no message."""
    prologue, kind, control, parameter, length = HEAD.unpack(await reader.readexactly(HEAD.size))
    if prologue != b"HS" or length > LARGEST:
        raise ConnectionError("no HiSLIP message")
    return kind, control, parameter, await reader.readexactly(length)


def _send(writer: Any, kind: int, control: int = 0, parameter: int = 0, payload: bytes = b"") -> None:
    writer.write(HEAD.pack(b"HS", kind, control, parameter, len(payload)) + payload)
