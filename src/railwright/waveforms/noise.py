"""Noise of evenly taken samples, and the edges between them that happen at once."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from railwright.waveforms.waveform import Array, Waveform

ORDERS = (2, 4, 6)
"""Orders of the differences by which noise is estimated. White noise gives the same by each; what moves
smoothly, also a ringing, gives less the higher the order.
"""

MEDIAN, UPPER = 0.674489750196082, 1.2815515655446004
"""What half, and what 80 %, of a normal quantity's magnitudes do not exceed, in parts of its r.m.s."""

FLICKER = 0.1
"""Part of the changes from sample to sample from which on those that are taken back at once are noise."""

ROUNDING = 1e-9
"""Noise up to this part of the span is what rounding leaves."""

SAMPLED = 50
"""From so many samples on there is a usual interval, and an edge within one is told from a drawn line."""

EDGE = 0.01
"""Least height of an edge between two samples that is taken for a jump, in parts of the span."""

EDGE_NOISE = 12.0
"""By how many times the noise an edge must be higher than what goes on beside it for as long: 4.9 times the
r.m.s. of such a difference. Lower edges are found by the means on both sides.
"""

FLATTER = 0.25
"""Beside an edge the samples go on in its direction by at most this part of its height an interval."""

SLIGHTEST = 0.05
"""A sample that is nearer than this part of the height to one end of an edge is not on its way."""

EVEN = 2.0
"""An edge lies between samples no farther apart than so many usual intervals: over a gap nothing is known."""


def noise_of(wave: Waveform) -> float:
    """Estimated r.m.s. of the white noise in a waveform's rows [its unit]; 0: none shows, or too few rows.

    From the median magnitude of differences, so that edges do not count; the least of several orders, so that
    ringing does not either. Samples on a coarse grid, of which half do not differ: from their upper fifth.
    """
    value = wave.value
    if value.size < SAMPLED:
        return 0.0
    found = min(_by_differences(value, order) for order in ORDERS)
    return found if found > ROUNDING * float(np.ptp(value)) else 0.0


def _by_differences(value: Array, order: int) -> float:
    magnitude = np.abs(np.diff(value, order)) / math.sqrt(math.comb(2 * order, order))
    places = magnitude.size // 2, int(0.8 * magnitude.size)
    middle, upper = np.partition(magnitude, places)[list(places)].tolist()
    if middle > 0.0:
        return float(middle / MEDIAN)
    return float(upper / UPPER) if _flickers(value) else 0.0


def _flickers(value: Array) -> bool:
    """Whether samples on a coarse grid leave a value for a single sample, as noise does and levels do not."""
    changes = value[1:] != value[:-1]
    single = changes[1:] & changes[:-1] & (value[2:] == value[:-2])
    return int(np.count_nonzero(single)) > FLICKER * int(np.count_nonzero(changes))


@dataclass(frozen=True, eq=False, slots=True)
class Stretches:
    """The parts of a waveform between its jumps, each with its own rows.

    begin, end (n,): each has the rows from begin to before end. opens, closes (n,): from when to when it
    lasts [s]; a row that an edge passed on its way belongs to none.
    """

    begin: NDArray[np.int64]
    end: NDArray[np.int64]
    opens: Array
    closes: Array


def stretches_of(wave: Waveform, noise: float, most: int) -> Stretches:
    """Part a waveform at its jumps, and at edges within one interval of its samples, or within two with one
    sample on the way: these are jumps at the instant at which they cross half their height.

    most: where that makes more stretches, edges stay lines.
    """
    time, value = wave.time, wave.value
    jumps = np.flatnonzero(np.diff(time) == 0.0)
    last, first, at = jumps, jumps + 1, time[jumps]
    if time.size >= SAMPLED:
        one, two = _edges(time, value, noise)
        if jumps.size + one.size + two.size >= most:
            one, two = one[:0], two[:0]
        rows = np.concatenate((one, two))
        ends = np.concatenate((one + 1, two + 2))
        halves = np.concatenate((_crossing(time, value, one, one + 1), _crossing(time, value, two, two + 2)))
        last, first = np.concatenate((last, rows)), np.concatenate((first, ends))
        at = np.concatenate((at, halves))
        order = np.argsort(last, kind="stable")
        last, first, at = last[order], first[order], at[order]
    return Stretches(
        np.append(0, first),
        np.append(last + 1, time.size),
        np.append(0.0, at),
        np.append(at, wave.duration),
    )


def _edges(time: Array, value: Array, noise: float) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Rows before the edges that last one interval, and before those that last two."""
    steps, gaps = np.diff(value), np.diff(time)
    even = (gaps > 0.0) & (gaps <= EVEN * float(np.median(gaps)))
    least = EDGE * float(np.ptp(value))
    sign, high = np.sign(steps), np.abs(steps)
    height = steps[1:] + steps[:-1]
    none = np.empty(0, np.int64)
    if not ((even & (high > least)).any() or (np.abs(height) > least).any()):
        return none, none
    around = np.concatenate(([0.0], steps, [0.0]))
    beside = np.maximum(0.0, np.maximum(sign * around[:-2], sign * around[2:]))
    slack = 4.0 * noise
    one = even & (high > least) & (high - beside >= EDGE_NOISE * noise)
    clear = one & (beside - slack <= SLIGHTEST * high)
    sign, both = np.sign(height), np.abs(height)
    on_way = (sign * steps[:-1] > SLIGHTEST * both) & (sign * steps[1:] > SLIGHTEST * both)
    two = even[:-1] & even[1:] & (both > least) & on_way & ~clear[:-1] & ~clear[1:]
    later = np.maximum(0.0, np.maximum(sign * around[:-3], sign * around[3:]))
    two &= (later - slack <= FLATTER * both) & (both - 2.0 * later >= 1.5 * EDGE_NOISE * noise)
    two[1:] &= ~two[:-1]
    # What follows an edge of one interval may go on a little in its direction.
    one &= beside - slack <= FLATTER * high
    one[:-1] &= ~two
    one[1:] &= ~two
    return np.flatnonzero(one), np.flatnonzero(two)


def _crossing(time: Array, value: Array, begin: NDArray[np.int64], end: NDArray[np.int64]) -> Array:
    """When straight lines between rows, at most two of them, cross the middle of their ends' values [s]."""
    middle = 0.5 * (value[begin] + value[end])
    late = (end - begin == 2) & ((value[begin + 1] < middle) == (value[begin] < middle))
    row = begin + late
    rise = value[row + 1] - value[row]
    part = (middle - value[row]) / np.where(rise == 0.0, 1.0, rise)
    result: Array = time[row] + np.clip(part, 0.0, 1.0) * (time[row + 1] - time[row])
    return result
