"""Time as a value that is passed in: the clock of the computer, or one that jumps from event to event.

`VirtualLoop` runs ordinary asyncio code without waiting: when nothing is ready, its time jumps to the next
timer. `memory_streams` joins two ends of a connection inside it. Standard library only. The guard, the twins
and a run can share one loop: a run of two seconds, time-outs included, takes as long as its arithmetic.
"""

from __future__ import annotations

import asyncio
import selectors
import threading
import time
from collections import deque
from collections.abc import Callable, Coroutine, Mapping
from typing import Any, Protocol, TypeVar

Result = TypeVar("Result")


class Clock(Protocol):
    """A clock that never jumps [s]; only differences mean anything."""

    def now(self) -> float:
        """Now [s]."""

    def sleep(self, duration: float) -> None:
        """Let `duration` [s] pass; not at all where it is negative."""


class MonotonicClock:
    """The computer's monotonic clock: setting the time of day does not move it."""

    def now(self) -> float:
        return time.monotonic()

    def sleep(self, duration: float) -> None:
        time.sleep(max(0.0, duration))


class Stalled(RuntimeError):
    """Nothing is ready and nothing is due: in virtual time this would last for ever."""


class _Jump(selectors.BaseSelector):
    """A selector without descriptors: to wait is to move the loop's time."""

    def __init__(self, jump: Callable[[float | None], None]) -> None:
        self._jump = jump
        self._keys: dict[int, selectors.SelectorKey] = {}

    def register(self, fileobj: Any, events: int, data: Any = None) -> selectors.SelectorKey:
        number = fileobj if isinstance(fileobj, int) else fileobj.fileno()
        self._keys[number] = selectors.SelectorKey(fileobj, number, events, data)
        return self._keys[number]

    def unregister(self, fileobj: Any) -> selectors.SelectorKey:
        return self._keys.pop(fileobj if isinstance(fileobj, int) else fileobj.fileno())

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        self._jump(timeout)
        return []

    def get_map(self) -> Mapping[Any, selectors.SelectorKey]:
        return self._keys


class VirtualLoop(asyncio.SelectorEventLoop):
    """An event loop on virtual time. It is a `Clock` for code that is not asynchronous, too. It holds no
    descriptor: one that is dropped, open, before the collector comes by takes none of the process's.
    """

    def __init__(self, start: float = 1000.0) -> None:
        self._virtual = start
        super().__init__(_Jump(self._pass))

    def time(self) -> float:
        return self._virtual

    def now(self) -> float:
        """As a `Clock`: virtual time [s]."""
        return self._virtual

    def sleep(self, duration: float) -> None:
        """As a `Clock`: let everything in the loop go on for `duration` [s]."""
        self.complete(asyncio.sleep(max(0.0, duration)))

    def complete(self, work: Coroutine[Any, Any, Result]) -> Result:
        """Run until `work` is done; everything else in the loop goes on meanwhile."""
        return self.run_until_complete(work)

    def __del__(self) -> None:
        """Nothing of it is outside this process: who drops it has no more use of it."""
        if not self.is_closed():
            self.close()

    def _make_self_pipe(self) -> None:
        """None: asyncio wakes a selector by it that waits, and this one never does."""
        self._ssock = self._csock = None

    def _close_self_pipe(self) -> None:
        """There is none."""

    def _pass(self, timeout: float | None) -> None:
        if timeout is None:
            raise Stalled("nothing is due in virtual time")
        self._virtual += timeout


class PacedLoop(VirtualLoop):
    """A virtual loop whose time goes as fast as that of the computer while `paced` is set, for whoever looks
    at what it plays from outside; where its arithmetic fell behind, it catches up.
    """

    def __init__(self, paced: threading.Event) -> None:
        self._paced = paced
        self._behind: float | None = None
        super().__init__()

    def _pass(self, timeout: float | None) -> None:
        super()._pass(timeout)
        if not self._paced.is_set():
            self._behind = None
            return
        # What the computer's clock is behind this one.
        if self._behind is None:
            self._behind = self._virtual - time.monotonic()
        time.sleep(max(0.0, self._virtual - time.monotonic() - self._behind))


class MemoryWriter:
    """The writing end of a connection in memory; the part of `asyncio.StreamWriter` that servers use.

    latency: how long data is on its way [s]. Data written after the other side has closed is lost, as in a
    network; `drain` then raises ConnectionResetError.
    """

    def __init__(self, loop: asyncio.AbstractEventLoop, to: asyncio.StreamReader, latency: float) -> None:
        self._loop, self._to, self._latency = loop, to, latency
        self._closed = False
        # Timers due at one instant fire in any order; what is under way arrives in the order it was written.
        self._under_way: deque[bytes | ConnectionResetError | None] = deque()
        self.other: MemoryWriter | None = None

    @property
    def transport(self) -> MemoryWriter:
        return self

    def set_write_buffer_limits(self, high: int | None = None, low: int | None = None) -> None:
        """Memory takes everything."""

    def write(self, data: bytes) -> None:
        if not self._closed:
            self._send(bytes(data))

    def _send(self, data: bytes | ConnectionResetError | None) -> None:
        self._under_way.append(data)
        self._loop.call_later(self._latency, self._deliver)

    def _deliver(self) -> None:
        data = self._under_way.popleft()
        if data is None:
            self._to.feed_eof()
        elif isinstance(data, ConnectionResetError):
            self._to.set_exception(data)
        elif self.other is None or not self.other.is_closing():
            self._to.feed_data(data)

    async def drain(self) -> None:
        if self._closed or (self.other is not None and self.other.is_closing()):
            raise ConnectionResetError("the other side has closed the connection")
        await asyncio.sleep(0)

    def is_closing(self) -> bool:
        return self._closed

    def close(self) -> None:
        self._end(None)

    def abort(self) -> None:
        """Close at once: the other side is told that the connection was reset by its peer."""
        self._end(ConnectionResetError("connection reset by peer"))

    def _end(self, last: ConnectionResetError | None) -> None:
        if not self._closed:
            self._closed = True
            self._send(last)

    async def wait_closed(self) -> None:
        await asyncio.sleep(0)


Streams = tuple[asyncio.StreamReader, MemoryWriter]


def memory_streams(
    loop: asyncio.AbstractEventLoop, latency: float = 1e-4, limit: int = 1 << 20
) -> tuple[Streams, Streams]:
    """Two ends of one connection in `loop`, each a reader and a writer as asyncio has them."""
    here, there = asyncio.StreamReader(limit=limit, loop=loop), asyncio.StreamReader(limit=limit, loop=loop)
    to_there, to_here = MemoryWriter(loop, there, latency), MemoryWriter(loop, here, latency)
    to_there.other, to_here.other = to_here, to_there
    return (here, to_there), (there, to_here)
