"""The procedure's steps as they really were: nominal spans, with the times at which things happened."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Sequence

from railwright.plan.moves import Move
from railwright.running.recorder import RunRecorder
from railwright.traces import Span

ROUNDING = 1e-6
"""Times of the plan and of the record are compared within this [s]."""


class Steps:
    """Follows the steps of a run. A step begins with its first move; where it begins with none, on time, but
    not before the last move of an earlier step was done.
    """

    def __init__(
        self,
        spans: Sequence[Span],
        recorder: RunRecorder,
        begins: Callable[[str, float], None] = lambda name, time: None,
        status_gap: Callable[[float], float] = lambda end: 0.0,
    ) -> None:
        """begins: told that a step of this name begins [s]. status_gap: from the end of the step that goes on
        [s] to the longest time in it in which a status was not known [s].
        """
        self._spans = spans
        self._begins, self._status_gap = begins, status_gap
        self._recorder = recorder
        self._here = -1
        self._open = False
        self._start = 0.0
        self._done = -math.inf
        """When the last move was done [s]."""
        self._points: list[tuple[float, float]] = []
        self._late, self._left_out, self._time_error = 0.0, 0, 0.0
        self.held = 0.0
        """Time spent waiting for triggers and keys [s]: the record is so far ahead of the plan."""

    @property
    def here(self) -> int:
        """Position of the step that goes on, from 0; before the first one, that."""
        return max(0, self._here)

    def pass_time(self, now: float, moves: deque[Move]) -> None:
        """Begin the steps whose time in the plan has come and that do not wait for a move."""
        while self._here + 1 < len(self._spans):
            following = self._spans[self._here + 1]
            own = next((move for move in moves if move.step == self._here + 1), None)
            if now < following.start or (own is not None and own.time == following.start):
                return
            self._begin(following.start + self.held)

    def moved(self, move: Move, done: float) -> None:
        """A move was done: its step has begun by then; on time where the move comes later in it, such as the
        first of a line's stairs, which the outputs are handed before the step begins.
        """
        while self._here < move.step:
            planned = self._spans[self._here + 1].start
            first = self._here + 1 == move.step and move.time <= planned + ROUNDING
            self._begin(done if first else min(done, planned + self.held))
        self._done = max(self._done, done)
        if move.kind != "off" and self._spans[move.step].points:
            self._points.append((move.voltage, done))

    def late(self, seconds: float) -> None:
        """A set point of the step that goes on came so late [s]; the latest counts."""
        self._late = max(self._late, seconds)

    def left_out(self, count: int) -> None:
        """So many set points of the step that goes on were not sent: the host did not keep up."""
        self._left_out += count

    def time_error(self, seconds: float) -> None:
        """The time of a set point of the step that goes on is known within ± this [s]: half its exchange, or
        the skew between its outputs where that is more; the largest counts.
        """
        self._time_error = max(self._time_error, seconds)

    def end(self, end: float, whole: bool = True) -> None:
        """The step that goes on ends; nothing where none does. `end` is never before its begin.

        whole: all that belongs to it was done. A step that ends before its time is never whole.
        """
        if self._open:
            self._close(end, whole and end >= self._spans[self._here].end + self.held - ROUNDING)

    def _close(self, end: float, whole: bool) -> None:
        nominal, end = self._spans[self._here], max(end, self._start)
        stops = [start for _, start in self._points[1:]] + [end]
        points = tuple(
            (voltage, start, stop) for (voltage, start), stop in zip(self._points, stops, strict=False)
        )
        self._recorder.step_ended(
            Span(
                nominal.name,
                nominal.kind,
                self._start,
                end,
                nominal.inputs,
                points,
                whole=whole,
                late=nominal.late + self._late,
                left_out=nominal.left_out + self._left_out,
                time_error=self._time_error,
                status_gap=self._status_gap(end),
            )
        )
        self._open, self._points = False, []

    def _begin(self, due: float) -> None:
        start = max(due, self._done)
        if self._open:
            # All that belongs to a step was done before the next one begins.
            self._close(start, True)
        self._late, self._left_out, self._time_error = start - due, 0, 0.0
        self._begins(self._spans[self._here + 1].name, start)
        self._here, self._open, self._start = self._here + 1, True, start
        self._recorder.step_started(self._spans[self._here], self._here, start)
