"""The server of one simulated supply: raw connections, newline-terminated messages, any number of clients,
over TCP, HiSLIP, a serial line, or in memory.

One loop does everything: it lets simulated time follow a clock, and carries out what clients send when it
has arrived. Nothing that a client sends ends the server: what is wrong goes into the supply's error queue.
"""

from __future__ import annotations

import asyncio
import contextlib
import math
import time
from collections.abc import Callable, Coroutine, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

from railwright.documents.serial_line import SerialLine
from railwright.guard.address import device_of, hislip_of, socket_of, transport_of
from railwright.scpi.errors import ScpiError
from railwright.scpi.framing import MessageFramer
from railwright.scpi.grammar import Unit, parse_message, split_responses
from railwright.twin.commands import execute
from railwright.twin.commands.spellings import line_ends
from railwright.twin.hislip import HislipServer
from railwright.twin.listening import LOOPBACK, Listening, reset
from railwright.twin.messages import LONGEST_MESSAGE, carried_out
from railwright.twin.mischief.layer import Layer, Manner
from railwright.twin.mischief.script import Mischief
from railwright.twin.serial_port import PacedReader, PacedWriter, SerialPort
from railwright.twin.supply import TwinSupply
from railwright.virtual_time import MemoryWriter, Streams, memory_streams

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

TICK = 4e-3
"""Longest pause between two advances of the physics [s]."""

CATCH_UP = 0.25
"""Most simulated time that one tick makes up for [s]: a machine that is too slow lags instead of going
deaf.
"""

FIRST_READING = 1.0
"""How long a supply that was just switched on is waited for until it has read [s]."""

LONGEST_ANSWER_QUEUE = 1 << 20
"""Bytes of unread answers at which a client's messages wait (it is served again once it reads)."""

MESSAGES_A_TURN = 8
"""Messages of one client that are carried out before the others, and time itself, have their turn."""

ENDLESS = b"0123456789" * 100
ENDLESS_EVERY = 1e-3
"""What an answer without end goes on with, and how often [s]."""


@dataclass(frozen=True, slots=True)
class ReplyTime:
    """How long the supply takes for a message, and for each query in it besides [s]."""

    message: float = 0.0
    query: float = 0.0


@dataclass(eq=False)
class _Client:
    """One connection. ignored: what it sends is thrown away."""

    reader: asyncio.StreamReader | PacedReader
    writer: asyncio.StreamWriter | MemoryWriter | PacedWriter
    task: asyncio.Task[None]
    ignored: bool = False
    dropped: bool = False
    endless: list[asyncio.Task[None]] = field(default_factory=list)


class SupplyServer:
    """Serves one supply. `start` opens a socket (port 0: a free one) and `run` serves until cancelled;
    `connect` makes a connection in memory, for which time need not run: it goes on when something is asked.

    clock: gives the time [s]. reply_time: how long the supply takes. mischief: its script of faults, drawn
    from `seed`. longest_lag: most time that is made up for at once [s]; inf on a clock that waits for
    everybody.
    """

    def __init__(
        self,
        supply: TwinSupply,
        clock: Callable[[], float] = time.monotonic,
        *,
        reply_time: ReplyTime | None = None,
        mischief: Sequence[Mischief] = (),
        seed: int = 1,
        longest_lag: float = CATCH_UP,
    ) -> None:
        self.supply = supply
        self.one_client = False
        self._takes, self._gives = line_ends(supply.document.dialect)
        self.reply_time = reply_time if reply_time is not None else ReplyTime()
        self._clock = clock
        self._longest_lag = longest_lag
        self._origins: list[tuple[float, float]] = [(0.0, clock() - supply.plant.time)]
        self._free_at = -math.inf
        self._refused = False
        self._listening: Listening | SerialPort | None = None
        document = supply.document
        self._line = document.line or SerialLine()
        self._is_serial = transport_of(document.address) == "serial"
        hislip = hislip_of(document.address)
        self._name = None if hislip is None else hislip.name
        self._connected: Callable[[Any, Any], Coroutine[Any, Any, None]] = self._accept
        if self._name is not None:
            self._connected = HislipServer(
                self._name,
                self._accept,
                lambda: self.supply.status.report(ScpiError(-410)),
                lambda: self.supply.status.status_byte(False),
            ).accept
        self._clients: list[_Client] = []
        self._in_memory: set[asyncio.Task[None]] = set()
        self.mischief = Layer(mischief, seed, self)
        """The faults of its script, and what they have done."""

    @property
    def origin(self) -> float:
        """Wall clock [s] at which simulated time would have been 0, had it always lagged as it does now."""
        return self._origins[-1][1]

    def now(self) -> float:
        """The time on its clock [s]."""
        return self._clock()

    def wall_clock(self, time: NDArray[np.float64]) -> NDArray[np.float64]:
        """Wall clock [s] at which simulated times were played, shape (n,), by the lag of each moment."""
        import numpy as np

        since, origins = (np.array(column) for column in zip(*self._origins, strict=True))
        place = np.searchsorted(since, time, side="left") - 1
        return np.asarray(time + origins[np.maximum(place, 0)])

    def energised(self) -> dict[str, list[tuple[float, float | None]]]:
        """When each output was on in the physics and not tripped: (from, to) on the clock [s]; None: still
        is.
        """
        import numpy as np

        plant = self.supply.plant
        spans: dict[str, list[tuple[float, float | None]]] = {}
        for output in plant.outputs:
            spans[output] = []
            for begin, end in plant.energised(output):
                first, last = self.wall_clock(np.array([begin, begin if end is None else end]))
                spans[output].append((float(first), None if end is None else float(last)))
        return spans

    async def start_at(self, address: str, *, at_bench: bool) -> str:
        """Listen at an address, or at a free one of its kind, and give the address. Raises OSError."""
        if transport_of(address) == "serial":
            device = self.start_serial(device_of(address) or "" if at_bench else "")
            return address if at_bench else f"ASRL{device}::INSTR"
        host, port = LOOPBACK, 0
        if at_bench:
            host, port, *_ = hislip_of(address) or socket_of(address) or (host, port)
        port = await self.start(host, port)
        return f"TCPIP::{host}::" + (
            f"{port}::SOCKET" if self._name is None else f"{self._name},{port}::INSTR"
        )

    async def start(self, host: str, port: int) -> int:
        """Open the socket and give its port. Raises OSError when the address cannot be had."""
        listening = self._listening = Listening(self._connected, LONGEST_MESSAGE)
        taken = await listening.open(host, port)
        self._origins = [(0.0, self._clock() - self.supply.plant.time)]
        return taken

    def start_serial(self, path: str) -> str:
        """Open a pseudo-terminal and give its device; path: what is to lead there, '' for nothing. Raises
        OSError.
        """
        port = self._listening = SerialPort(self._accept, self._line)
        device = port.open(path)
        self._origins = [(0.0, self._clock() - self.supply.plant.time)]
        return device

    def connect(self, latency: float = 1e-4) -> Streams:
        """The client's end of a new connection in memory, in the running loop. latency: how long data is on
        its way [s]. Raises ConnectionRefusedError while the supply takes none.
        """
        if self._refused:
            raise ConnectionRefusedError(f"supply '{self.supply.name}' takes no connection")
        loop = asyncio.get_running_loop()
        near, far = memory_streams(loop, latency)
        served = loop.create_task(self._connected(*far))
        self._in_memory.add(served)
        served.add_done_callback(self._in_memory.discard)
        return near

    async def run(self) -> None:
        """Let time pass until cancelled."""
        try:
            while True:
                self.catch_up()
                await asyncio.sleep(TICK)
        finally:
            self.close()

    def close(self) -> None:
        """Take no connection any more and end those that there are."""
        self._refused = True
        self.mischief.close()
        if self._listening is not None:
            self._listening.close()
        for client in self._clients:
            client.task.cancel()
        # Connections of a session over HiSLIP are served by tasks of their own.
        for served in self._in_memory:
            served.cancel()

    def catch_up(self) -> None:
        """Advance the supply to now."""
        now = self._clock() - self.origin
        if now - self.supply.plant.time > self._longest_lag:
            lag = now - self.supply.plant.time - self._longest_lag
            self._origins.append((self.supply.plant.time, self.origin + lag))
            now = self.supply.plant.time + self._longest_lag
        self.supply.advance(now)

    def refuse(self, refusing: bool) -> None:
        """Take no new connection, or take them again."""
        self._refused = refusing
        if self._listening is not None:
            self._listening.refuse(refusing)

    def drop(self, how: Literal["reset", "close", "ignore"]) -> None:
        """End every connection, as after a crash or in order, or keep it and ignore what it sends."""
        here = asyncio.current_task()
        for client in self._clients:
            if how == "ignore":
                client.ignored = True
                continue
            client.dropped = True
            if how == "reset":
                reset(client.writer)
            else:
                client.writer.close()
            if client.task is not here:
                client.task.cancel()

    async def _accept(self, reader: asyncio.StreamReader, writer: Any) -> None:
        task = asyncio.current_task()
        assert task is not None
        client = _Client(reader, writer, task)
        if self._is_serial:
            byte_time = self._line.settings.byte_time
            client.reader, client.writer = PacedReader(reader, byte_time), PacedWriter(writer, byte_time)
        taken = self._refused or (self.one_client and bool(self._clients))
        if not taken:
            self._clients.append(client)
        try:
            if not taken:
                await self._serve(client)
        except (ConnectionError, TimeoutError, OSError, asyncio.CancelledError):
            pass  # the client is gone, or the server ends; what was half sent is not a message
        finally:
            if client in self._clients:
                self._clients.remove(client)
            for endless in client.endless:
                endless.cancel()
            with contextlib.suppress(ConnectionError, OSError, RuntimeError):  # the loop may be closed
                writer.close()
                await writer.wait_closed()

    async def _serve(self, client: _Client) -> None:
        client.writer.transport.set_write_buffer_limits(high=LONGEST_ANSWER_QUEUE)
        framer = MessageFramer(LONGEST_MESSAGE)
        count, hears_from = 0, self._clock() + self.supply.family.answers_after
        while received := await client.reader.read(LONGEST_MESSAGE):
            if self._takes == b"\r":
                received = received.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
            for message in framer.feed(received):
                if self._clock() < hears_from:
                    continue
                if isinstance(message, ScpiError):
                    self.supply.status.report(message)
                elif message.strip() and not client.ignored:
                    await self._treat(client, message)
                count += 1
                if count % MESSAGES_A_TURN == 0:
                    await asyncio.sleep(0)
            await asyncio.sleep(0)  # a client that floods may not keep the others, and time itself, waiting

    async def _treat(self, client: _Client, message: bytes) -> None:
        """One message from its arrival to its answer, with what the script of faults makes of it."""
        manner = self.mischief.received(message)
        if client.ignored:
            return
        await self._take_time(client, message, manner)
        answer = await self.answer(message) if manner.done else ""
        if answer and manner.answered:
            sent = self.mischief.answered(message, answer.encode("latin-1", "replace") + self._gives)
            client.writer.write(sent.data)
            if sent.endless and not client.endless:
                client.endless.append(asyncio.get_running_loop().create_task(_go_on(client.writer)))
            await client.writer.drain()
        self.mischief.done()
        _must_be_there(client)

    async def _take_time(self, client: _Client, message: bytes, manner: Manner) -> None:
        """Let the time pass that the supply takes; it does one thing after another, whoever asks."""
        _must_be_there(client)
        takes = self.reply_time.message + manner.longer
        if self.reply_time.query:
            takes += self.reply_time.query * _queries(message)
        if takes > 0.0:
            now = self._clock()
            self._free_at = max(self._free_at, now) + takes
            await asyncio.sleep(self._free_at - now)
            _must_be_there(client)

    async def answer(self, message: bytes) -> str:
        """Carry out one message; its answers joined with `;`, empty when it asked nothing."""
        self.catch_up()
        self.supply.watchdog.heard = self.supply.plant.time
        if self.supply.family.alone and len(split_responses(message.decode("latin-1"))) > 1:
            self.supply.status.report(ScpiError(-102, "one command a message"))
            return ""
        return await carried_out(message, self._execute, self.supply.status.report)

    async def _execute(self, unit: Unit, answer_waiting: bool) -> str | None:
        word = unit.nodes[0].upper()
        if word == "*WAI" or (word == "*OPC" and unit.query):
            while self.supply.busy:
                await asyncio.sleep(TICK)
                self.catch_up()
        if word.startswith("MEAS") and unit.query:
            # A measurement is waited for, as any is: this one may be the first since the supply is there.
            for _ in range(round(FIRST_READING / TICK)):
                if self.supply.has_read:
                    break
                await asyncio.sleep(TICK)
                self.catch_up()
        if word == "*STB" and unit.query and not unit.parameters:
            return str(self.supply.status.status_byte(answer_waiting))
        return execute(self.supply, unit)


def _must_be_there(client: _Client) -> None:
    if client.dropped:
        raise ConnectionResetError("dropped by the script of faults")


def _queries(message: bytes) -> int:
    """How many queries a message has, up to its first syntax error."""
    count = 0
    with contextlib.suppress(ScpiError):
        for unit in parse_message(message):
            count += unit.query
    return count


async def _go_on(writer: asyncio.StreamWriter | MemoryWriter | PacedWriter) -> None:
    """An answer without end: bytes, and no newline, until the connection is gone."""
    with contextlib.suppress(ConnectionError, OSError):
        while not writer.is_closing():
            writer.write(ENDLESS)
            await writer.drain()
            await asyncio.sleep(ENDLESS_EVERY)
