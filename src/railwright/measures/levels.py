"""State levels of a waveform by the histogram-mode method.

References
----------
.. [1] IEEE Std 181-2011, 5.2: state levels from the modes of the lower and the upper part of the histogram.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

BINS = 100
"""Bins over the whole range of the values."""


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """Low and high state level, and which values made them."""

    low: float
    high: float
    low_values: NDArray[np.bool_]
    high_values: NDArray[np.bool_]

    @property
    def two_states(self) -> bool:
        return self.high > self.low


def state_levels(values: NDArray[np.float64], least_amplitude: float) -> Levels:
    """Low and high state level of a waveform, in the values' unit [1]_.

    values: shape (n,), n >= 1. A waveform whose values differ by less than `least_amplitude` is in one state:
    both levels are its median. Each level is the median of the values in the fullest bin of its half and in
    the two bins beside it.
    """
    bottom, top = float(np.min(values)), float(np.max(values))
    if top - bottom <= least_amplitude:
        middle = float(np.median(values))
        every = np.ones(values.size, dtype=np.bool_)
        return Levels(middle, middle, every, every)
    width = (top - bottom) / BINS
    index = np.minimum(((values - bottom) / width).astype(np.intp), BINS - 1)
    counts = np.bincount(index, minlength=BINS)
    half = BINS // 2
    low_bin = int(np.argmax(counts[:half]))
    high_bin = half + int(np.argmax(counts[half:]))
    low_values = (np.abs(index - low_bin) <= 1) & (index < half)
    high_values = (np.abs(index - high_bin) <= 1) & (index >= half)
    low, high = float(np.median(values[low_values])), float(np.median(values[high_values]))
    return Levels(low, high, low_values, high_values)


def median_range(values: NDArray[np.float64], visible: float) -> tuple[float, float]:
    """Between which values the median of a waveform lies that was read at instants like these, shape (n,).

    Readings meet each stay at a level once more or less at either end: the median's place among them, in
    order of size, is open by one, and by one more for each time that they cross it by more than `visible`.
    """
    ordered, middle = np.sort(values), float(np.median(values))
    sides = values > middle + visible, values < middle - visible
    slack = 1 + max(int(np.count_nonzero(np.diff(side.astype(np.int8)))) for side in sides)
    low, high = max(0, (ordered.size - 1) // 2 - slack), min(ordered.size - 1, ordered.size // 2 + slack)
    return float(ordered[low]), float(ordered[high])


def places(values: NDArray[np.float64], *, high: bool) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    """Where in one half of their range values gather: for each of its bins, how many values lie in it and in
    the two beside it (of the same half), and its middle. values: shape (n,), not all the same.
    """
    bottom, top = float(np.min(values)), float(np.max(values))
    width = (top - bottom) / BINS
    index = np.minimum(((values - bottom) / width).astype(np.intp), BINS - 1)
    first = BINS // 2 if high else 0
    counts = np.bincount(index, minlength=BINS)[first : first + BINS // 2]
    middles = (bottom + (first + np.arange(counts.size) + 0.5) * width).astype(np.float64)
    gathered: NDArray[np.intp] = np.convolve(counts, np.ones(3, dtype=np.intp), mode="same")
    return gathered, middles
