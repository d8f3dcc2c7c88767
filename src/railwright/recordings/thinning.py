"""Fewer samples of a long recording, every extreme kept, without holding it whole."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


LONG = 300
"""Stretches of as many values or more are looked at one by one; shorter ones are many, and done at once."""


def extremes(
    values: NDArray[np.float64], starts: NDArray[np.intp]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Where each stretch of values has its lowest and highest, of equal ones the first; a NaN counts as both.

    values: shape (n,). starts: where each stretch begins, rising from 0, shape (m,). Both of shape (m,).
    """
    if values.size < LONG * starts.size:
        return _first(np.minimum, values, starts), _first(np.maximum, values, starts)
    stops = [*starts[1:].tolist(), values.size]
    # One stretch after the other: it is still in the processor's cache when its highest value is looked for.
    stretches = [values[start:stop] for start, stop in zip(starts.tolist(), stops, strict=True)]
    found = np.array([(part.argmin(), part.argmax()) for part in stretches]).reshape(-1, 2)
    return starts + found[:, 0], starts + found[:, 1]


def _first(extreme: np.ufunc, values: NDArray[np.float64], starts: NDArray[np.intp]) -> NDArray[np.intp]:
    """Where each stretch has its extreme, of equal ones the first, or its first NaN: all at once."""
    sizes = np.diff(starts, append=values.size)
    found = np.flatnonzero((values == np.repeat(extreme.reduceat(values, starts), sizes)) | np.isnan(values))
    return found[np.searchsorted(found, starts)]


class Thinned:
    """Takes a recording block by block and keeps of stretches of it the first and last sample, and the lowest
    and highest of each channel; the stretches grow with the recording, so that at most `most` are kept.

    A recording of up to `most` samples is kept as it is.
    """

    def __init__(self, channels: int, most: int) -> None:
        self._each, self._most, self._stretch = 2 + 2 * channels, most, 1
        if most < 2 * self._each:
            raise ValueError(f"at least {2 * self._each} samples of {channels} channels are kept, got {most}")
        self._rows: list[NDArray[np.int64]] = []
        self._columns: list[tuple[NDArray[np.float64], ...]] = []
        self._kept = 0

    def add(self, row: int, time: NDArray[np.float64], values: Sequence[NDArray[np.float64]]) -> None:
        """The next samples: row of the first, times (n,) [s], and one array (n,) a channel, finite."""
        rows = np.arange(row, row + time.size)
        self._append(rows, (time, *values))
        while self._kept > self._most:
            # Two stretches become one; while every sample is kept, stretches of fewer would keep all of them.
            self._stretch = max(2 * self._stretch, 2 * self._each)
            merged = np.concatenate(self._rows)
            columns = tuple(np.concatenate(each) for each in zip(*self._columns, strict=True))
            self._rows, self._columns, self._kept = [], [], 0
            self._append(merged, columns)

    def result(self) -> tuple[NDArray[np.float64], ...]:
        """Times, and one array a channel, all of shape (m,), in order of time."""
        return tuple(np.concatenate(each) for each in zip(*self._columns, strict=True))

    def _append(self, rows: NDArray[np.int64], columns: tuple[NDArray[np.float64], ...]) -> None:
        if self._stretch > 1 and rows.size:
            stretch = rows // self._stretch
            starts = np.flatnonzero(np.diff(stretch, prepend=-1))
            ends = np.append(starts[1:], rows.size) - 1
            keep = np.zeros(rows.size, np.bool_)
            keep[starts] = keep[ends] = True
            for values in columns[1:]:
                for places in extremes(values, starts):
                    keep[places] = True
            rows, columns = rows[keep], tuple(each[keep] for each in columns)
        self._rows.append(rows)
        self._columns.append(columns)
        self._kept += rows.size
