"""A guard on an event loop of this process, for virtual time and for tests."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any

from railwright.guard.core import Guard
from railwright.guard.link import RUN_DIED, GuardLink, Message
from railwright.guard.wire import Connect

LEAST_WAIT = 1e-6
"""Shortest wait on a loop of this process [s]."""


class LocalLink(GuardLink):
    """A guard on an event loop of this process, for virtual time and for tests.

    loop: driven by whoever waits here. `cut` is what the run's death looks like to the guard.
    """

    def __init__(self, loop: asyncio.AbstractEventLoop, connect_to: Connect) -> None:
        super().__init__()
        self.loop, self._connect = loop, connect_to
        self._arrived = asyncio.Event()
        self.told: list[Message] = []
        self.guard = self._complete(self._make())
        self._beats: asyncio.Task[None] | None = None

    async def _make(self) -> Guard:
        return Guard(self._connect, self._hear)

    def _complete(self, work: Any) -> Any:
        return self.loop.run_until_complete(work)

    def _hear(self, message: Message) -> None:
        if message["kind"] not in ("answer", "poll"):
            self.told.append(message)
        self._take(message)
        self._arrived.set()

    def wake(self) -> None:
        """End a wait that is going on."""
        self._arrived.set()

    def now(self) -> float:
        return self.loop.time()

    def _send(self, message: Message) -> None:
        self._complete(self._hand_over(message))

    async def _hand_over(self, message: Message) -> None:
        self.guard.handle(message)

    def _pump(self, until: float) -> None:
        self._complete(self._wait(until))

    async def _wait(self, until: float) -> None:
        # Virtual time must go on, also where what is left of a wait is lost in rounding.
        left = max(LEAST_WAIT, until - self.loop.time())
        try:
            async with asyncio.timeout(left):
                await self._arrived.wait()
        except TimeoutError:
            pass
        # What came while nobody waited ends the next wait at once: it may be the answer that is waited for.
        self._arrived.clear()
        self.guard.handle({"kind": "beat"})

    def watch(self) -> None:
        """Have the guard watch this run's signs of life, as its process does."""
        self._beats = self.loop.create_task(self.guard.watch_beat(self.guard.switch_off))

    def cut(self) -> None:
        """The run is gone: the guard switches off. Returns when that is over."""
        self._complete(self._cut())

    async def _cut(self) -> None:
        self.guard.switch_off(RUN_DIED)
        await self.guard.until_off()

    def take_over(self, why: str, tell: Callable[[Message], None], *, urgent: Callable[[], bool]) -> Message:
        raise AssertionError("a guard in this process dies with it")

    def close(self) -> None:
        if self._beats is not None:
            self._beats.cancel()
        self._complete(self._close())

    async def _close(self) -> None:
        await self.guard.end()
        await asyncio.sleep(0)
