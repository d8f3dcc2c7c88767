"""A point list being played: which set points fall due, and when."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Due:
    """A set point that falls due at `time` [s]: go to `voltage` [V] within `duration` [s] (0: at once)."""

    time: float
    voltage: float
    duration: float


class ListRun:
    """One run of a list from `start` [s] on: `count` times through (inf: without end).

    Stepping: point k is taken at the beginning of its dwell. In lines: it is reached at the end of its dwell,
    in a straight line from where the output was.
    """

    def __init__(
        self, voltages: tuple[float, ...], dwells: tuple[float, ...], count: float, lines: bool, start: float
    ) -> None:
        self._schedule = self._points(voltages, dwells, count, lines, start)
        self._next: Due | None = next(self._schedule)
        self.end = start + sum(dwells) * count

    @staticmethod
    def _points(
        voltages: tuple[float, ...], dwells: tuple[float, ...], count: float, lines: bool, start: float
    ) -> Iterator[Due]:
        time, turn = start, 0
        while turn < count:
            for voltage, dwell in zip(voltages, dwells, strict=True):
                yield Due(time, voltage, dwell if lines else 0.0)
                time += dwell
            turn += 1

    def due_before(self, end: float) -> Iterator[Due]:
        """Points that fall due before `end`, each given once."""
        while self._next is not None and self._next.time < end:
            yield self._next
            self._next = next(self._schedule, None)
