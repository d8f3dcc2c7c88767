"""What every simulated instrument does with a message, and the server of those that stand beside supplies."""

from __future__ import annotations

import asyncio
import contextlib
from abc import ABC, abstractmethod
from collections.abc import Awaitable, Callable
from typing import Any, Generic, Protocol, TypeVar

from railwright.documents.serial_line import SerialLine
from railwright.documents.wires import Wires
from railwright.guard.address import device_of, socket_of, transport_of
from railwright.scpi.data import Datum
from railwright.scpi.errors import ScpiError
from railwright.scpi.framing import MessageFramer
from railwright.scpi.grammar import Unit, parse_message
from railwright.scpi.headers import CommandTree
from railwright.twin.everyday import expect_count
from railwright.twin.listening import LOOPBACK, Listening
from railwright.twin.registers import ErrorQueue
from railwright.twin.serial_port import PacedReader, PacedWriter, SerialPort
from railwright.virtual_time import Streams, memory_streams

LONGEST_MESSAGE = 65536


async def carried_out(
    message: bytes,
    execute: Callable[[Unit, bool], Awaitable[str | None]],
    report: Callable[[ScpiError], None],
) -> str:
    """Carry out the units of a message: their answers joined with `;`, empty when it asked nothing.

    execute: (unit, whether an answer waits already) -> its answer, if it asks. A command error ends the
    message, an execution error only its own unit (SCPI-1999 vol. 2, 21.8.9 and 21.8.10, from memory).
    """
    answers: list[str] = []
    try:
        for unit in parse_message(message):
            try:
                answer = await execute(unit, bool(answers))
            except ScpiError as error:
                report(error)
                if -200 < error.number <= -100:
                    break
            else:
                answers += [] if answer is None else [answer]
    except ScpiError as error:
        report(error)
    return ";".join(answers)


class BesideServer(ABC):
    """Serves an instrument that stands beside the supplies; lines end in a newline."""

    def __init__(self) -> None:
        self._served: set[asyncio.Task[None]] = set()
        self._listening: Listening | SerialPort | None = None
        self._byte_time = 0.0

    async def start_at(self, wires: Wires, *, at_bench: bool) -> str:
        """Listen at the socket or the serial line of an instrument's address, or at a free one, and give its
        address. Raises OSError.
        """
        address = wires.address
        if transport_of(address) == "serial":
            line = wires.line or SerialLine()
            serial = self._listening = SerialPort(self._serve, line)
            self._byte_time = line.settings.byte_time
            device = serial.open(device_of(address) or "" if at_bench else "")
            return address if at_bench else f"ASRL{device}::INSTR"
        host, port = (socket_of(address) if at_bench else None) or (LOOPBACK, 0)
        listening = self._listening = Listening(self._serve, LONGEST_MESSAGE)
        return f"TCPIP::{host}::{await listening.open(host, port)}::SOCKET"

    @abstractmethod
    async def answer(self, message: bytes) -> str:
        """Carry out one message; its answers joined with `;`, empty when it asked nothing."""

    @abstractmethod
    def report(self, error: ScpiError) -> None:
        """Keep an error for whoever asks."""

    def connect(self, latency: float = 1e-4) -> Streams:
        """The client's end of a new connection in memory, in the running loop. latency: how long data is on
        its way [s].
        """
        loop = asyncio.get_running_loop()
        near, far = memory_streams(loop, latency)
        task = loop.create_task(self._serve(*far))
        self._served.add(task)
        task.add_done_callback(self._served.discard)
        return near

    def close(self) -> None:
        """Take no connection any more and end those that there are."""
        if self._listening is not None:
            self._listening.close()
        for task in self._served:
            task.cancel()

    async def _serve(self, reader: Any, writer: Any) -> None:
        if self._byte_time:
            reader, writer = PacedReader(reader, self._byte_time), PacedWriter(writer, self._byte_time)
        framer = MessageFramer(LONGEST_MESSAGE)
        try:
            while received := await reader.read(LONGEST_MESSAGE):
                for message in framer.feed(received):
                    if isinstance(message, ScpiError):
                        self.report(message)
                    elif message.strip() and (answer := await self.answer(message)):
                        writer.write(answer.encode("latin-1", "replace") + b"\n")
                        await writer.drain()
        except (ConnectionError, TimeoutError, OSError, asyncio.CancelledError):
            pass  # the client is gone, or the server ends
        finally:
            with contextlib.suppress(ConnectionError, OSError, RuntimeError):  # the loop may be closed
                writer.close()
                await writer.wait_closed()


class _Queueing(Protocol):
    """An instrument that keeps its errors."""

    errors: ErrorQueue


Instrument = TypeVar("Instrument", bound=_Queueing)


class TreeServer(BesideServer, Generic[Instrument]):
    """Serves an instrument without a status. tree: what each of its commands does, and how many parameters it
    takes. catch_up: lets the time of what it hangs on come up to now.
    """

    def __init__(
        self,
        instrument: Instrument,
        tree: CommandTree[tuple[Callable[[Instrument, tuple[Datum, ...]], str | None], int]],
        catch_up: Callable[[], None],
    ) -> None:
        super().__init__()
        self._instrument, self._tree, self._catch_up = instrument, tree, catch_up

    def report(self, error: ScpiError) -> None:
        self._instrument.errors.put(error)

    async def answer(self, message: bytes) -> str:
        self._catch_up()
        return await carried_out(message, self._execute, self.report)

    async def _execute(self, unit: Unit, _: bool) -> str | None:
        (command, count), _numbers = self._tree.find(unit.nodes, unit.query)
        expect_count(unit.parameters, count, count, unit.header)
        return command(self._instrument, unit.parameters)
