"""What is kept of many cases: counts, extremes and percentiles that need no more room for more cases."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

BIN = 1.002
"""Ratio of the edges of one bin: a percentile is right to half of it, 0.1 %."""

SMALLEST = 1e-12
"""Below this a value counts as zero."""


@dataclass
class Spread:
    """The spread of one measure over cases; two of them add up.

    lowest, highest: over all cases, corners included, with the case they came from. bins: how many values of
    the interior lie in each logarithmic bin, by sign and number.
    """

    lowest: float = math.inf
    lowest_case: int = -1
    highest: float = -math.inf
    highest_case: int = -1
    total: float = 0.0
    count: int = 0
    bins: Counter[tuple[int, int]] = field(default_factory=Counter)

    def take(self, values: NDArray[np.float64], first_case: int, inside: NDArray[np.bool_]) -> None:
        """Add the values of consecutive cases, the first of them `first_case`; NaN: there is none."""
        import numpy as np

        known = ~np.isnan(values)
        if not known.any():
            return
        low, high = int(np.nanargmin(values)), int(np.nanargmax(values))
        self._extremes(float(values[low]), first_case + low, float(values[high]), first_case + high)
        chosen = values[known & inside]
        self.count += chosen.size
        self.total += math.fsum(chosen)
        sizes = np.abs(chosen)
        signs = np.where(sizes < SMALLEST, 0, np.sign(chosen)).astype(int)
        numbers = np.floor(np.log(np.maximum(sizes, SMALLEST)) / math.log(BIN)).astype(int)
        found, counts = np.unique(np.stack((signs, numbers * (signs != 0))), axis=1, return_counts=True)
        for (sign, number), count in zip(found.T.tolist(), counts.tolist(), strict=True):
            self.bins[sign, number] += count

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
        """The value below which this share of the interior lies, right to 0.1 %."""
        wanted = percent / 100.0 * self.count
        seen = 0
        for sign, number in sorted(self.bins, key=lambda key: (key[0], key[0] * key[1])):
            seen += self.bins[sign, number]
            if seen >= wanted:
                value = sign * math.exp((number + 0.5) * math.log(BIN))
                return min(max(value, self.lowest), self.highest)
        return math.nan
