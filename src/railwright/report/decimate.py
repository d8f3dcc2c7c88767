"""Fewer points of a long record, keeping every extreme that can be seen."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from railwright.recordings.thinning import extremes

if TYPE_CHECKING:
    from numpy.typing import NDArray


BUCKETS = 800
"""Stretches of time that are told apart across a figure."""


def decimate(
    time: NDArray[np.float64], values: NDArray[np.float64], buckets: int = BUCKETS
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """First, lowest, highest and last sample of each of `buckets` equal stretches of time.

    time [s], shape (n,), never decreasing; values, shape (n,). Returns both, shape (m,), m <= 4 * buckets,
    in order of time. Records of up to that length come back as they are. Largest and smallest value, and the
    ends, are always among what is kept; of equal extremes of a stretch, the first. Values that are not finite
    are left out.
    """
    if time.size > 4 * buckets:
        keep = _ends_and_extremes(time, values, buckets)
        # A stretch with a value that is not finite has such an extreme too, so these few tell of all.
        if np.isfinite(values[keep]).all():
            return time[keep], values[keep]
    finite = np.isfinite(values)
    if finite.all():
        return time, values
    return decimate(time[finite], values[finite], buckets)


def _ends_and_extremes(
    time: NDArray[np.float64], values: NDArray[np.float64], buckets: int
) -> NDArray[np.intp]:
    """Places of the samples to keep, shape (m,), in order; a NaN counts as lowest and as highest."""
    edges = np.linspace(time[0], time[-1], buckets + 1)[1:-1]
    starts = np.unique(np.concatenate(([0], np.searchsorted(time, edges, side="left"))))
    starts = starts[starts < time.size]
    low, high = extremes(values, starts)
    return np.unique(np.concatenate((starts, low, high, np.append(starts[1:], time.size) - 1)))
