"""A thread that writes what others queue: they neither wait for a reader nor see an error."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable, Sequence
from typing import Any, TextIO

from railwright.cli.streams import raw_of

REFRESH = 0.1
"""How often what is repeated is done again [s]."""

TRAFFIC_KEPT = 10_000
"""So many lines may wait when one more of the traffic comes; then it is left out."""

KEPT = 20_000
"""The same for events and everything else: traffic never crowds them out."""


class PrintThread:
    """Does what it is given in a thread of its own, one after the other. `put` never waits and never raises.

    streams: what it writes to; flushed whenever nothing more waits. gap: told, in its place among the others,
    how many calls were left out because too many waited.
    """

    def __init__(self, streams: Sequence[TextIO], gap: Callable[[int], object]) -> None:
        self._streams = streams
        self._gap = gap
        self._queue: queue.SimpleQueue[tuple[Callable[..., object], tuple[Any, ...]] | None]
        self._queue = queue.SimpleQueue()
        self._lock = threading.Lock()  # held for an instant by who puts, never while something is written
        self._left_out = 0
        self._every: Callable[[], object] | None = None
        self._thread = threading.Thread(target=self._work, name="printer", daemon=True)
        self._thread.start()

    def put(self, what: Callable[..., object], *arguments: Any, kept: int = KEPT) -> None:
        """Call `what` with these arguments later. kept: with so many waiting it is left out instead."""
        with self._lock:
            # Once something was left out there must be room again, so that a reader who is a little slow gets
            # long pieces with long gaps and not every second line.
            if self._queue.qsize() >= (kept // 2 if self._left_out else kept):
                self._left_out += 1
                return
            if self._left_out:
                self._queue.put((self._gap, (self._left_out,)))
                self._left_out = 0
            self._queue.put((what, arguments))

    def repeat(self, what: Callable[[], object] | None) -> None:
        """Call `what` every `REFRESH` seconds from now on; None: nothing. To be called through `put`."""
        self._every = what

    def finish(self, given_up: Callable[[], bool]) -> None:
        """Do what still waits, and end. `given_up`: asked now and then whether to drop the rest instead."""
        self._queue.put(None)
        while self._thread.is_alive():
            self._thread.join(0.02)
            if self._thread.is_alive() and given_up():
                for stream in self._streams:
                    if raw := raw_of(stream):
                        raw.give_up()
                return

    def _work(self) -> None:
        drawn = time.monotonic()
        while True:
            try:
                item = self._queue.get(timeout=REFRESH if self._every else None)
                if item is None:
                    if self._left_out:
                        self._attempt(self._gap, self._left_out)
                    self._attempt(self._flush)
                    return
                if not self._attempt(item[0], *item[1]):
                    with self._lock:
                        self._left_out += 1
            except queue.Empty:
                pass
            if self._every and time.monotonic() - drawn >= REFRESH:
                self._attempt(self._every)
                drawn = time.monotonic()
            if self._queue.empty():
                self._attempt(self._flush)

    def _attempt(self, what: Callable[..., object], *arguments: Any) -> bool:
        try:
            what(*arguments)
        except Exception:  # noqa: BLE001 (a stream that is not tolerant, a display that fails: go on)
            return False
        return True

    def _flush(self) -> None:
        for stream in self._streams:
            stream.flush()


def gap_line(count: int) -> str:
    """Says that lines are missing here."""
    return f"… {count} {'line was' if count == 1 else 'lines were'} not shown"
