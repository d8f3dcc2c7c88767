"""What is kept of many cases: counts, extremes and percentiles that need no more room for more cases."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

BIN = 1.0002
"""Ratio of the edges of one bin: a percentile is right to half of it, 0.01 %."""

SMALLEST = 1e-12
"""Below this a value counts as zero."""

FIRST = 1 - math.floor(math.log(SMALLEST) / math.log(BIN))
"""Added to the number of a bin: the smallest then has the number 1, and a bin of negative values -1."""


@dataclass
class Spread:
    """The spread of one measure over cases; two of them add up.

    lowest, highest: over all cases, corners included, with the case they came from. bins: how many values of
    the interior lie in each logarithmic bin, by its number; in the order of their numbers they rise.
    """

    lowest: float = math.inf
    lowest_case: int = -1
    highest: float = -math.inf
    highest_case: int = -1
    total: float = 0.0
    count: int = 0
    bins: Counter[int] = field(default_factory=Counter)

    def take(self, values: NDArray[np.float64], first_case: int, inside: NDArray[np.bool_]) -> None:
        """Add the values of consecutive cases, the first of them `first_case`; NaN: there is none."""
        known = ~np.isnan(values)
        if not known.any():
            return
        low, high = int(np.nanargmin(values)), int(np.nanargmax(values))
        self._extremes(float(values[low]), first_case + low, float(values[high]), first_case + high)
        chosen = values[known & inside]
        self.count += chosen.size
        self.total += math.fsum(chosen)
        sizes = np.abs(chosen)
        numbers = np.floor(np.log(np.maximum(sizes, SMALLEST)) / math.log(BIN)).astype(int) + FIRST
        signed = np.where(sizes < SMALLEST, 0, np.sign(chosen)).astype(int) * numbers
        found, counts = np.unique(signed, return_counts=True)
        for number, count in zip(found.tolist(), counts.tolist(), strict=True):
            self.bins[number] += count

    def _extremes(self, low: float, low_case: int, high: float, high_case: int) -> None:
        if low < self.lowest:
            self.lowest, self.lowest_case = low, low_case
        if high > self.highest:
            self.highest, self.highest_case = high, high_case

    def add(self, other: Spread) -> None:
        """Add what another has seen of later cases."""
        self._extremes(other.lowest, other.lowest_case, other.highest, other.highest_case)
        self.count += other.count
        self.total += other.total
        self.bins.update(other.bins)

    @property
    def mean(self) -> float:
        """Mean over the interior."""
        return self.total / self.count if self.count else math.nan

    def percentile(self, percent: float) -> float:
        """The value below which this share of the interior lies, right to 0.01 %."""
        wanted = percent / 100.0 * self.count
        seen = 0
        for number in sorted(self.bins):
            seen += self.bins[number]
            if seen >= wanted:
                size = math.exp((abs(number) - FIRST + 0.5) * math.log(BIN)) if number else 0.0
                return min(max(math.copysign(size, number), self.lowest), self.highest)
        return math.nan
