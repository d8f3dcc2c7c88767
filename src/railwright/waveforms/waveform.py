"""A waveform: values against time, straight lines from row to row, and jumps where two rows share a time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Places = NDArray[np.intp]


@dataclass(frozen=True, eq=False, slots=True)
class Waveform:
    """One quantity over time.

    time (n,): from 0 on, never decreasing [s]; value (n,): in the quantity's SI unit. Between rows it runs
    in a straight line. Two rows with the same time are a jump (of more, the first and the last count). Held
    as 64-bit floats in one piece, copied only where they are not.
    Raises ValueError where the arrays do not fit together, hold no row, or hold something that is not finite.
    """

    time: Array
    value: Array

    def __post_init__(self) -> None:
        for name in ("time", "value"):
            object.__setattr__(self, name, np.asarray(getattr(self, name), np.float64, order="C"))
        if self.time.ndim != 1 or self.time.shape != self.value.shape or not self.time.size:
            raise ValueError("time and value must be of the same length, of one row at least")
        if not (np.isfinite(self.time).all() and np.isfinite(self.value).all()):
            raise ValueError("time and value must be finite")
        if self.time[0] != 0.0 or (np.diff(self.time) < 0.0).any():
            raise ValueError("time must begin at 0 and never decrease")

    @property
    def duration(self) -> float:
        """From the first row to the last [s]."""
        return float(self.time[-1])

    def at(self, time: Array) -> Array:
        """Values at these times (m,); at a jump the one after it; before and after it all, the end values."""
        after = np.clip(np.searchsorted(self.time, time, side="right"), 1, self.time.size)
        before = after - 1
        after = np.minimum(after, self.time.size - 1)
        return self.between(before, after, time)

    def between(self, before: Places, after: Places, time: Array) -> Array:
        """Values at these times (m,) on straight lines from one row to another, (m,) both; beyond them, the
        row's own.
        """
        length = self.time[after] - self.time[before]
        part = np.clip((time - self.time[before]) / np.where(length > 0.0, length, 1.0), 0.0, 1.0)
        result: Array = self.value[before] + part * (self.value[after] - self.value[before])
        return result
