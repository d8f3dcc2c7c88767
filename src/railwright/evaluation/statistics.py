"""Sums, means and standard deviations that keep their digits, streaming and over arrays."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass


class _Sum:
    """Compensated sum (Neumaier's variant of Kahan's): the error stays near one rounding, whatever the
    length.
    """

    __slots__ = ("compensation", "total")

    def __init__(self) -> None:
        self.total = 0.0
        self.compensation = 0.0

    def add(self, value: float) -> None:
        total = self.total + value
        if abs(self.total) >= abs(value):
            self.compensation += (self.total - total) + value
        else:
            self.compensation += (value - total) + self.total
        self.total = total

    @property
    def value(self) -> float:
        return self.total + self.compensation


@dataclass(slots=True)
class RunningStatistics:
    """Mean and standard deviation of a stream, one value at a time, in constant memory.

    Values are taken relative to the first one, so that a large common part does not eat the digits.
    """

    count: int = 0
    _first: float = 0.0

    def __post_init__(self) -> None:
        self._sum = _Sum()
        self._squares = _Sum()

    _sum: _Sum = None  # type: ignore[assignment]
    _squares: _Sum = None  # type: ignore[assignment]

    def add(self, value: float) -> None:
        """Take in one finite value."""
        if not self.count:
            self._first = value
        self.count += 1
        difference = value - self._first
        self._sum.add(difference)
        self._squares.add(difference * difference)

    @property
    def mean(self) -> float:
        """ValueError before the first value."""
        if not self.count:
            raise ValueError("a mean needs at least one value")
        return self._first + self._sum.value / self.count

    @property
    def standard_deviation(self) -> float:
        """Sample standard deviation (n - 1); ValueError with fewer than two values."""
        if self.count < 2:
            raise ValueError("a standard deviation needs at least two values")
        centre = self._sum.value
        return math.sqrt(max(0.0, (self._squares.value - centre * centre / self.count) / (self.count - 1)))


def mean_and_deviation(values: Iterable[float]) -> tuple[float, float]:
    """Mean and sample standard deviation; ValueError with fewer than two values."""
    running = RunningStatistics()
    for value in values:
        running.add(float(value))
    return running.mean, running.standard_deviation
