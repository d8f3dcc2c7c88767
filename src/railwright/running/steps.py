"""The procedure's steps as they really were: nominal spans, with the times at which things happened."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence

from railwright.running.plan import Move
from railwright.running.recorder import Recorder
from railwright.traces import Span


class Steps:
    """Follows the steps of a run. A step begins with its first move; where it begins with none, on time."""

    def __init__(
        self,
        spans: Sequence[Span],
        recorder: Recorder,
        begins: Callable[[str, float], None] = lambda name, time: None,
    ) -> None:
        self._spans = spans
        self._begins = begins
        self._recorder = recorder
        self._here = -1
        self._open = False
        self._start = 0.0
        self._points: list[tuple[float, float]] = []
        self.held = 0.0
        """Time spent waiting for triggers and keys [s]: the record is so far ahead of the plan."""

    def pass_time(self, now: float, moves: deque[Move]) -> None:
        """Begin the steps whose time in the plan has come and that do not wait for a move."""
        while self._here + 1 < len(self._spans):
            following = self._spans[self._here + 1]
            own = next((move for move in moves if move.step == self._here + 1), None)
            if now < following.start or (own is not None and own.time == following.start):
                return
            self._begin(following.start + self.held)

    def moved(self, move: Move, done: float) -> None:
        """A move was done: its step has begun by then."""
        while self._here < move.step:
            self._begin(done)
        if move.kind != "off" and self._spans[move.step].points:
            self._points.append((move.voltage, done))

    def end(self, end: float) -> None:
        """The step that goes on ends; nothing where none does. `end` is never before its begin."""
        if not self._open:
            return
        nominal, end = self._spans[self._here], max(end, self._start)
        stops = [start for _, start in self._points[1:]] + [end]
        points = tuple(
            (voltage, start, stop) for (voltage, start), stop in zip(self._points, stops, strict=False)
        )
        self._recorder.step_ended(Span(nominal.name, nominal.kind, self._start, end, nominal.inputs, points))
        self._open, self._points = False, []

    def _begin(self, start: float) -> None:
        self.end(start)
        self._begins(self._spans[self._here + 1].name, start)
        self._here, self._open, self._start = self._here + 1, True, start
        self._recorder.step_started(self._spans[self._here], self._here, start)
