"""One session with one instrument: whole messages out, one line in, each within its deadline and length."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass

from railwright.guard.address import transport_of
from railwright.guard.session_settings import USUAL, SessionCommand, SessionSettings, questions
from railwright.guard.wire import CHUNK, Connect, Reader, Writer

LONGEST_ANSWER = 1 << 20
"""Longest answer that is waited for [bytes]; a longer one has no end."""

STOOD_STILL = 0.1
"""A deadline that is noticed so much too late [s] was passed by this process, not by the instrument."""

ON_THE_LINE = 100
"""Characters of an answer that a serial line is given time for, beside the deadline of an exchange."""

QUIET, QUIET_BYTES, LONGEST_SETTLING = 0.1, 20, 3.0
"""A serial line on which nothing came for so long [s], and for so many bytes, has nothing more to say; it is
waited for so long at most [s].
"""

CONNECT_DEADLINE = 3.0
"""How long a connection may take [s]."""

GOODBYE = 1.0
"""How long a session may take to say what it is to end with [s]."""


class SessionError(Exception):
    """An exchange failed; the text says what happened, without the instrument's name."""


class Unreachable(SessionError):
    """No connection could be had."""


@dataclass(frozen=True, slots=True)
class Exchange:
    """A message with its answer, '' where it asked nothing, and when each passed [s, the loop's clock]."""

    answer: str
    sent: float
    received: float


class Session:
    """One connection, used by one exchange at a time.

    A message is handed to the connection whole, in one piece. An exchange that is given up leaves an answer
    owing, which is read away before the next answer; one that fails leaves the session `broken`: what comes
    after a failure may belong to anything, so it is opened anew before it is used again.
    """

    def __init__(
        self, name: str, address: str, connect: Connect, session_settings: SessionSettings = USUAL
    ) -> None:
        self.name, self.address, self.session_settings = name, address, session_settings
        self.broken = ""
        self.lock = asyncio.Lock()
        self.duration = 0.0
        """What an exchange took lately [s]."""
        self.reserved: deque[float] = deque()
        """When exchanges that were asked for ahead of time are due [s]."""
        self._connect = connect
        self._reader: Reader | None = None
        self._writer: Writer | None = None
        self._rest = b""
        self._owing = 0
        self._interrupted = False
        """Whether the answer that is waited for is lost: an OFF went out after its question."""
        self.transport = transport_of(address, session_settings)
        # A helper process takes lines that end in a newline, whatever the instrument wants.
        lines = session_settings if self.transport != "library" else USUAL
        self._sends, self._ends = lines.sends, lines.answers.encode("latin-1")
        self._byte_time = session_settings.line.byte_time if self.transport == "serial" else 0.0
        self._ready_at = self._booted_at = 0.0
        """Before then it wants no further message [s]; and none at all, where OFF does not insist."""
        self._together: deque[tuple[str, ...]] = deque()
        self._leaving: tuple[str, ...] = ()
        """Those of them that are on their way."""
        self._giving_way = False
        """Whether they are no OFF, and leave before the next OFF or not at all."""
        self._sending: asyncio.Task[None] | None = None
        """Sends what is to leave together."""

    @property
    def is_open(self) -> bool:
        return self._writer is not None

    @property
    def takes(self) -> bool:
        """Whether what is sent leaves: it is open, and nothing told yet that the other end is gone."""
        reader = self._reader
        gone = isinstance(reader, asyncio.StreamReader) and (
            reader.at_eof() or reader.exception() is not None
        )
        return self._writer is not None and not gone

    @property
    def boots_for(self) -> float:
        """How long it wants no message yet, after it was opened [s]."""
        return max(0.0, self._booted_at - asyncio.get_running_loop().time())

    async def open(self, deadline: float = CONNECT_DEADLINE) -> None:
        """Connect anew. Raises Unreachable."""
        self.close()
        try:
            async with asyncio.timeout(deadline):
                self._reader, self._writer = await self._connect(self.address, self.session_settings)
        except TimeoutError:
            self.broken = f"no connection within {deadline:g} s"
            raise Unreachable(self.broken) from None
        except ConnectionRefusedError:
            self.broken = f"nothing listens at {self.address}"
            raise Unreachable(self.broken) from None
        except (OSError, UnicodeError) as error:
            # UnicodeError: a name that can be none.
            why = _why(error) if isinstance(error, OSError) else "no computer can have that name"
            self.broken = f"no connection to {self.address}: {why}"
            raise Unreachable(self.broken) from None
        self.broken, self._rest, self._owing = "", b"", 0
        if self.session_settings.boot:
            self._booted_at = asyncio.get_running_loop().time() + self.session_settings.boot

    async def begin(self, deadline: float) -> list[tuple[SessionCommand, Exchange]]:
        """Say what a session begins with, each within the deadline [s]. Raises SessionError, also where the
        answer is another than it has to be.
        """
        return [(each, await self._said(each, deadline)) for each in self.session_settings.opening]

    async def _said(self, command: SessionCommand, deadline: float) -> Exchange:
        if not command.asks:
            return await self.tell(command.text, deadline)
        exchange = await self.ask(command.text, deadline)
        if not command.taken(exchange.answer):
            told = f"answers {exchange.answer[:40]!r} to '{command.text}', expected '{command.answer}'"
            raise self._fail(told)
        return exchange

    def push_opening(self) -> None:
        """Say what a session begins with at once, and wait for nothing; what asks something is left out. For
        OFF alone, which goes out whatever comes of it.
        """
        for each in self.session_settings.opening:
            if not each.asks:
                self.push_together([each.text])

    async def push_opening_paced(self) -> None:
        """The same with the time before each, and after the last, that the instrument wants."""
        for each in self.session_settings.opening:
            if not each.asks:
                await self.pause()
                self.push(each.text)
        await self.pause()

    async def end(self) -> None:
        """Say what a session ends with, and close it; never fails."""
        if self.session_settings.closing and self._writer is not None and not self.broken:
            with suppress(SessionError, TimeoutError, OSError):
                async with asyncio.timeout(GOODBYE), self.lock:
                    for each in self.session_settings.closing:
                        await self._said(each, GOODBYE)
                    # What a line still holds back when it is closed is thrown away.
                    leaves = getattr(self._writer, "free_at", 0.0)
                    await asyncio.sleep(max(0.0, leaves - asyncio.get_running_loop().time()))
        self.close()

    def close(self) -> None:
        """End the connection; never fails."""
        self._together.clear()
        # Half of what leaves together is nothing for the next connection.
        sending, self._sending, self._leaving, self._giving_way = self._sending, None, (), False
        if sending is not None:
            sending.cancel()
        writer, self._writer, self._reader = self._writer, None, None
        if writer is not None:
            with suppress(OSError, RuntimeError):
                writer.close()

    async def ask(self, message: str, deadline: float, longest: int = LONGEST_ANSWER) -> Exchange:
        """Send a message and take the one line that it answers, all within `deadline` [s]; beside that, a
        serial line has the time that the characters take on it, and what stands there before them. One that
        OFF interrupts is asked again.

        Raises SessionError. Cancelled, it leaves the answer owing.
        """
        loop = asyncio.get_running_loop()
        await self.pause()
        began = loop.time()
        characters = len(message) + (1 + self._owing) * ON_THE_LINE
        leaves_in = max(0.0, getattr(self._writer, "free_at", 0.0) - began)
        at_most = deadline + leaves_in + characters * self._byte_time
        try:
            async with asyncio.timeout(at_most):
                writer = self._ready()
                if not self._owing:
                    self._expect_silence()
                while True:
                    self._owing, self._interrupted = self._owing + 1, False
                    sent = loop.time()
                    writer.write(self._line_of(message))
                    await writer.drain()
                    line = await self._answer(longest)
                    if not self._interrupted:
                        break
                    await self.pause()
        except TimeoutError:
            line = await self._late_answer(
                f"gives no whole answer within {deadline:g} s", began + at_most, longest
            )
            return Exchange(self.session_settings.fields(message, _text(line)), sent, loop.time())
        except OSError as error:
            raise self._fail(f"the connection is lost: {_why(error)}") from None
        except SessionError as error:
            raise self._fail(str(error)) from None
        received = loop.time()
        self.duration = max(0.75 * self.duration, received - began)
        return Exchange(self.session_settings.fields(message, _text(line)), sent, received)

    async def tell(self, message: str, deadline: float) -> Exchange:
        """Send a message that asks nothing. Raises SessionError."""
        await self.pause()
        sent = asyncio.get_running_loop().time()
        try:
            async with asyncio.timeout(deadline):
                writer = self._ready()
                writer.write(self._line_of(message))
                await writer.drain()
        except TimeoutError:
            raise self._fail(f"takes nothing for {deadline:g} s") from None
        except OSError as error:
            raise self._fail(f"the connection is lost: {_why(error)}") from None
        except SessionError as error:
            raise self._fail(str(error)) from None
        return Exchange("", sent, sent)

    async def say(self, message: str, deadline: float) -> Exchange:
        """As `ask` where the message asks something, else as `tell`."""
        return await (self.ask if questions(message) else self.tell)(message, deadline)

    async def say_all(self, messages: Sequence[str], deadline: float) -> Exchange:
        """Messages one after the other, each within the deadline [s]; their answers joined by `;`. Nothing
        comes between them where the caller holds `lock`. Raises SessionError.
        """
        exchanges = [await self.say(each, deadline) for each in messages]
        answers = [done.answer for done, each in zip(exchanges, messages, strict=True) if questions(each)]
        return Exchange(";".join(answers), exchanges[0].sent, exchanges[-1].received)

    def push(self, message: str) -> None:
        """Send a message at once, whatever is under way, and wait for nothing. For OFF alone."""
        if self._writer is not None:
            # Over HiSLIP a message interrupts the question before it: its line is an empty one.
            self._interrupted = self.transport == "hislip" and self._owing > 0
            with suppress(OSError, RuntimeError):
                self._writer.write(self._line_of(message))

    def push_together(self, messages: Sequence[str], *, gives_way: bool = False) -> None:
        """Send messages at once with nothing in between, whatever is under way. For OFF, and for what leads a
        voltage down before it, which gives way: it never leaves before its pause is over, nor after an OFF.

        Where the instrument wants a pause, several messages that belong together each wait for it: sent too
        soon, the selection could be lost and OFF reach another output. A single message is sent at once, in
        case it is taken, and again after the pause, in case it was lost. Nothing comes between several that
        belong together, and what waits already does not wait twice.
        """
        if not self.session_settings.pause:
            for message in messages:
                self.push(message)
            return
        loop, group = asyncio.get_running_loop(), tuple(messages)
        if self._giving_way and not gives_way and self._sending is not None:
            self._sending.cancel()
            self._together.clear()
            self._sending, self._leaving, self._giving_way = None, (), False
        no_selection_waits = all(len(each) < 2 for each in (group, self._leaving, *self._together))
        if no_selection_waits:
            in_time = self._sending is None and self._ready_at <= loop.time()
            if in_time or not gives_way:
                for message in group:
                    self.push(message)
            if in_time:
                return
        if group not in self._together:
            self._together.append(group)
        if self._sending is None:
            self._sending, self._giving_way = loop.create_task(self._send_together()), gives_way

    @property
    def is_sending(self) -> bool:
        """Whether something of what is to leave together has not left yet."""
        return self._sending is not None

    async def _send_together(self) -> None:
        own = self._sending
        try:
            while self._together:
                self._leaving = self._together.popleft()
                for message in self._leaving:
                    while (left := self._ready_at - asyncio.get_running_loop().time()) > 0.0:
                        await asyncio.sleep(left)
                    self.push(message)
        finally:
            if self._sending is own:
                self._sending, self._leaving, self._giving_way = None, (), False

    def void(self) -> None:
        """Spoil what somebody else may have begun to say and not ended. Only a serial line has that: it is no
        connection that a new one takes the place of. `@` begins no message and ends none (IEEE 488.2, 7.3).
        """
        if self.transport == "serial":
            self.push("@")

    async def settle(self) -> None:
        """Let what was asked before this session was opened be answered, and throw it away. Only a serial
        line has that: anywhere else it ends with the connection.
        """
        if self.transport != "serial" or self._reader is None:
            return
        loop = asyncio.get_running_loop()
        last = loop.time() + LONGEST_SETTLING
        leaves = min(getattr(self._writer, "free_at", 0.0), last)
        try:
            await asyncio.sleep(max(0.0, leaves - loop.time()))
            while loop.time() < last:
                async with asyncio.timeout(QUIET + QUIET_BYTES * self._byte_time):
                    if not await self._reader.read(CHUNK):
                        return
        except TimeoutError:
            return
        except OSError as error:
            raise self._fail(f"the connection is lost: {_why(error)}") from None

    def _line_of(self, message: str) -> bytes:
        """A message as it leaves."""
        self._spoke()
        return (message + self._sends).encode("latin-1", "replace")

    async def pause(self) -> None:
        """Let the time pass that the instrument wants before a message, since either of both spoke; and what
        is to be sent together go first.
        """
        loop = asyncio.get_running_loop()
        while True:
            if (sending := self._sending) is not None:
                await asyncio.wait([sending])
            elif (left := max(self._ready_at, self._booted_at) - loop.time()) > 0.0:
                await asyncio.sleep(left)
            else:
                return

    def _spoke(self) -> None:
        """Something was said by either: the instrument's pause begins."""
        if self.session_settings.pause:
            now = asyncio.get_running_loop().time()
            self._ready_at = max(self._ready_at, now + self.session_settings.pause)

    def _ready(self) -> Writer:
        if self._writer is None or self.broken:
            raise SessionError(self.broken or "no session is open")
        return self._writer

    async def _late_answer(self, told: str, due: float, longest: int) -> bytes:
        """The answer that came in time where this process itself stood still past the deadline, `due` [s]: it
        lies there, and the event loop let the deadline go first. Raises SessionError with what is told.
        """
        if asyncio.get_running_loop().time() - due < STOOD_STILL:
            raise self._fail(told) from None
        try:
            async with asyncio.timeout(STOOD_STILL):
                return await self._answer(longest)
        except (TimeoutError, OSError, SessionError):
            raise self._fail(told) from None

    async def _answer(self, longest: int) -> bytes:
        """The answer to what was asked last, after those that are still owing."""
        while self._owing > 1:
            await self._line(longest)
            self._owing -= 1
        line = await self._line(longest)
        self._owing = 0
        return line

    async def _line(self, longest: int) -> bytes:
        assert self._reader is not None
        end = self._ends
        while end not in self._rest:
            if len(self._rest) > longest:
                raise SessionError(f"its answer does not end: {len(self._rest)} bytes so far")
            received = await self._reader.read(CHUNK)
            if not received:
                raise SessionError("the connection was closed by the instrument")
            self._rest += received
        line, _, self._rest = self._rest.partition(end)
        self._spoke()
        return line

    def _expect_silence(self) -> None:
        """What lies there before anything was asked is a second answer, or no answer at all."""
        assert self._reader is not None
        waiting = self._reader.read(CHUNK)
        try:
            # A read that would have to wait suspends here; one that has something comes back with it.
            waiting.send(None)
        except StopIteration as done:
            if not done.value:
                raise SessionError("the connection was closed by the instrument") from None
            self._rest += done.value
        else:
            waiting.close()
        if self._rest:
            raise SessionError(f"sent more than was asked: {_shown(self._rest)}")

    def _fail(self, what: str) -> SessionError:
        self.broken = what
        return SessionError(what)


def _text(line: bytes) -> str:
    return line.rstrip(b"\r").decode("latin-1")


def _why(error: OSError) -> str:
    return (error.strerror or str(error) or type(error).__name__).rstrip(".")


def _shown(data: bytes) -> str:
    """The first bytes of something that was not asked for, harmless to print."""
    return ascii(data[:40].decode("latin-1"))
