"""The socket of one simulated supply: raw TCP, newline-terminated messages, any number of clients, in real
time.

One loop does everything: it lets simulated time follow the wall clock in small ticks, and carries out what
clients send at the moment it arrives. Nothing that a client sends ends the server: what is wrong goes into
the supply's error queue.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from railwright.scpi.errors import ScpiError
from railwright.scpi.framing import MessageFramer
from railwright.scpi.grammar import Unit, parse_message
from railwright.twin.supply import TwinSupply

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

TICK = 4e-3
"""Longest pause between two advances of the physics [s]."""

CATCH_UP = 0.25
"""Most simulated time that one tick makes up for [s]: a machine that is too slow lags instead of going
deaf.
"""

LONGEST_MESSAGE = 65536
LONGEST_ANSWER_QUEUE = 1 << 20
"""Bytes of unread answers at which a client's messages wait (it is served again once it reads)."""


class SupplyServer:
    """Serves one supply. `start` opens the socket (port 0: a free one), `run` serves until cancelled."""

    def __init__(self, supply: TwinSupply, clock: Callable[[], float] = time.monotonic) -> None:
        self.supply = supply
        self._clock = clock
        self._origins: list[tuple[float, float]] = [(0.0, clock())]
        self._server: asyncio.Server | None = None
        self._clients: set[asyncio.Task[None]] = set()

    @property
    def origin(self) -> float:
        """Wall clock [s] at which simulated time would have been 0, had it always lagged as it does now."""
        return self._origins[-1][1]

    def wall_clock(self, time: NDArray[np.float64]) -> NDArray[np.float64]:
        """Wall clock [s] at which simulated times were played, shape (n,), by the lag of each moment."""
        import numpy as np

        since, origins = (np.array(column) for column in zip(*self._origins, strict=True))
        place = np.searchsorted(since, time, side="left") - 1
        return np.asarray(time + origins[np.maximum(place, 0)])

    async def start(self, host: str, port: int) -> int:
        """Open the socket and give its port. Raises OSError when the address cannot be had."""
        self._server = await asyncio.start_server(self._accept, host, port, limit=LONGEST_MESSAGE)
        self._origins = [(0.0, self._clock())]
        return int(self._server.sockets[0].getsockname()[1])

    async def run(self) -> None:
        """Let time pass until cancelled."""
        try:
            while True:
                self.catch_up()
                await asyncio.sleep(TICK)
        finally:
            if self._server is not None:
                self._server.close()
            for client in list(self._clients):
                client.cancel()

    def catch_up(self) -> None:
        """Advance the supply to now."""
        now = self._clock() - self.origin
        if now - self.supply.plant.time > CATCH_UP:
            lag = now - self.supply.plant.time - CATCH_UP
            self._origins.append((self.supply.plant.time, self.origin + lag))
            now = self.supply.plant.time + CATCH_UP
        self.supply.advance(now)

    async def _accept(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._clients.add(task)
        try:
            await self._serve(reader, writer)
        except (ConnectionError, TimeoutError, OSError, asyncio.CancelledError):
            pass  # the client is gone, or the server ends; what was half sent is not a message
        finally:
            self._clients.discard(task)
            writer.close()
            with contextlib.suppress(ConnectionError, OSError):
                await writer.wait_closed()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.transport.set_write_buffer_limits(high=LONGEST_ANSWER_QUEUE)
        framer = MessageFramer(LONGEST_MESSAGE)
        while received := await reader.read(LONGEST_MESSAGE):
            for message in framer.feed(received):
                if isinstance(message, ScpiError):
                    self.supply.status.report(message)
                    continue
                answer = await self.answer(message)
                if answer:
                    writer.write(answer.encode("latin-1", "replace") + b"\n")
                    await writer.drain()
            await asyncio.sleep(0)  # a client that floods may not keep the others, and time itself, waiting

    async def answer(self, message: bytes) -> str:
        """Carry out one message; its answers joined with `;`, empty when it asked nothing."""
        answers: list[str] = []
        self.catch_up()
        try:
            for unit in parse_message(message):
                try:
                    answer = await self._execute(unit, bool(answers))
                except ScpiError as error:
                    self.supply.status.report(error)
                    if -200 < error.number <= -100:
                        break  # a command error ends the message, an execution error only its own unit
                else:
                    answers += [] if answer is None else [answer]
        except ScpiError as error:
            self.supply.status.report(error)
        return ";".join(answers)

    async def _execute(self, unit: Unit, answer_waiting: bool) -> str | None:
        word = unit.nodes[0].upper()
        if word == "*WAI" or (word == "*OPC" and unit.query):
            while self.supply.busy:
                await asyncio.sleep(TICK)
                self.catch_up()
        if word == "*STB" and unit.query and not unit.parameters:
            return str(self.supply.status.status_byte(answer_waiting))
        return self.supply.execute(unit)
