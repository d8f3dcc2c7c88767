"""What is told of many readings in constant memory: minimum, maximum, mean, r.m.s., and percentiles."""

from __future__ import annotations

import math
from typing import Any

MOST_CELLS = 1024
"""Cells of a histogram that are kept; with one more, each pair becomes one."""

FINEST = 20
"""Cells are 2**-20 wide at first (1 µV, 1 µA): finer than a supply's reading."""

PERCENTILES = (1, 5, 50, 95, 99)


class Histogram:
    """Counts of values in cells of one width, a power of two, that doubles when the cells are too many.

    A cell that nothing fell into takes no room, so a value far from all others costs one cell and no width.
    """

    def __init__(self) -> None:
        self._fineness = FINEST
        self._cells: dict[int, int] = {}
        self._count = 0

    @property
    def error(self) -> float:
        """How far `quantile` may lie from the value of that rank: half of a cell, in the values' unit."""
        return 2.0 ** -(self._fineness + 1)

    def add(self, value: float) -> None:
        """One more value, which is a finite number."""
        cell = math.floor(math.ldexp(value, self._fineness))
        self._cells[cell] = self._cells.get(cell, 0) + 1
        self._count += 1
        while len(self._cells) > MOST_CELLS:
            self._double()

    def _double(self) -> None:
        """Join each pair of cells: cell 2 n and 2 n + 1 become cell n, also below 0."""
        joined: dict[int, int] = {}
        for cell, count in self._cells.items():
            joined[cell >> 1] = joined.get(cell >> 1, 0) + count
        self._cells, self._fineness = joined, self._fineness - 1

    def quantile(self, part: float) -> float:
        """The smallest value that this part of all values does not exceed, known within `error`; NaN: there
        is none.
        """
        rank, below = max(1, math.ceil(part * self._count)), 0
        for cell in sorted(self._cells):
            below += self._cells[cell]
            if below >= rank:
                return math.ldexp(cell + 0.5, -self._fineness)
        return math.nan


class Statistics:
    """Of one quantity. What is no finite number (a reading beyond its range) is counted in `beyond` alone."""

    def __init__(self) -> None:
        self.count = self.beyond = 0
        self.minimum, self.maximum = math.inf, -math.inf
        self.last = math.nan
        self._sum = self._squares = 0.0
        self._histogram = Histogram()

    def add(self, value: float) -> None:
        """One more reading."""
        self.last = value
        if not math.isfinite(value):
            self.beyond += 1
            return
        self.count += 1
        self.minimum, self.maximum = min(self.minimum, value), max(self.maximum, value)
        self._sum += value
        self._squares += value * value
        self._histogram.add(value)

    @property
    def mean(self) -> float:
        """Of the readings, each with the same weight; NaN where there is none."""
        return self._sum / self.count if self.count else math.nan

    @property
    def rms(self) -> float:
        """Root of the mean square of the readings."""
        return math.sqrt(self._squares / self.count) if self.count else math.nan

    def percentile(self, number: float) -> float:
        """The smallest reading that so many of 100 do not exceed, within `percentile_error`."""
        value = self._histogram.quantile(number / 100.0)
        return min(max(value, self.minimum), self.maximum) if self.count else math.nan

    @property
    def percentile_error(self) -> float:
        return self._histogram.error

    def as_data(self) -> dict[str, Any]:
        """As the files have it; null where there is no reading."""
        told: dict[str, Any] = {"readings": self.count, "beyond_range": self.beyond}
        if not self.count:
            return told
        told |= {"minimum": self.minimum, "maximum": self.maximum, "mean": self.mean, "rms": self.rms}
        percentiles = {str(number): self.percentile(number) for number in PERCENTILES}
        return {**told, "percentiles": percentiles, "percentile_error": self.percentile_error}
