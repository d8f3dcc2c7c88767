"""Noise of evenly taken samples, and the edges between them that happen at once."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from railwright.waveforms.waveform import Array, Waveform

Rows = NDArray[np.int64]

MOST, PARTS = 1 << 20, 64
"""Of more samples than this, so many parts are looked at for noise, that many together."""

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

REGULAR, USUALLY = 0.5, 0.9
"""Intervals are regular that are off the usual one by at most the first part of it, and samples are rows of
which the second part at least is regular.
"""

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


def sampled(wave: Waveform) -> bool:
    """Whether a waveform's rows are samples: many, and evenly taken. Rows where drawn lines meet are not."""
    if wave.time.size < SAMPLED:
        return False
    gaps = np.diff(wave.time)
    usual = float(np.median(gaps))
    regular = np.count_nonzero(np.abs(gaps - usual) <= REGULAR * usual)
    return usual > 0.0 and bool(regular >= USUALLY * gaps.size)


def noise_of(wave: Waveform) -> float:
    """Estimated r.m.s. of the white noise in a waveform's samples [its unit]; 0: none shows, or no samples.

    From the median magnitude of differences, so that edges do not count; the least of several orders, so that
    ringing does not either. Samples on a coarse grid, of which half do not differ: from their upper fifth.
    """
    value = wave.value
    if not sampled(wave):
        return 0.0
    found = min(_by_differences(value, order) for order in ORDERS)
    return found if found > ROUNDING * float(np.ptp(value)) else 0.0


def _by_differences(value: Array, order: int) -> float:
    magnitude = np.abs(_differences(value, order)) / math.sqrt(math.comb(2 * order, order))
    places = magnitude.size // 2, int(0.8 * magnitude.size)
    middle, upper = np.partition(magnitude, places)[list(places)].tolist()
    if middle > 0.0:
        return float(middle / MEDIAN)
    return float(upper / UPPER) if _flickers(value) else 0.0


def _differences(value: Array, order: int) -> Array:
    if value.size <= MOST:
        return np.diff(value, order)
    length = MOST // PARTS
    begins = np.linspace(0, value.size - length, PARTS).astype(np.int64)
    return np.concatenate([np.diff(value[begin : begin + length], order) for begin in begins])


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

    begin: Rows
    end: Rows
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
    if sampled(wave):
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


def _edges(time: Array, value: Array, noise: float) -> tuple[Rows, Rows]:
    """Rows before the edges that last one interval, and before those that last two."""
    steps = np.diff(value)
    least = EDGE * float(np.ptp(value))
    widest = EVEN * float(np.median(np.diff(time)))
    # Of two intervals one has half the height at least; all else is looked at there alone.
    large = np.flatnonzero(np.abs(steps) >= max(0.5 * least, 0.75 * EDGE_NOISE * noise))
    around = _Around(time, steps, widest)
    high, beside = np.abs(steps[large]), around.beside(large, 1)
    slack = 4.0 * noise
    is_one = around.even(large, 1) & (high > least) & (high - beside >= EDGE_NOISE * noise)
    clear = large[is_one & (beside - slack <= SLIGHTEST * high)]

    rows = np.unique(np.concatenate((large, large - 1)))
    rows = rows[(rows >= 0) & (rows + 1 < steps.size)]
    rows = rows[~np.isin(rows, clear) & ~np.isin(rows + 1, clear)]
    first, second = steps[rows], steps[rows + 1]
    sign, both, later = np.sign(first + second), np.abs(first + second), around.beside(rows, 2)
    on_way = (sign * first > SLIGHTEST * both) & (sign * second > SLIGHTEST * both)
    two = rows[
        around.even(rows, 2)
        & (both > least)
        & on_way
        & (later - slack <= FLATTER * both)
        & (both - 2.0 * later >= 1.5 * EDGE_NOISE * noise)
    ]
    two = two[np.append(True, np.diff(two) > 1)[: two.size]]
    # What follows an edge of one interval may go on a little in its direction.
    one = large[is_one & (beside - slack <= FLATTER * high)]
    return one[~np.isin(one, two) & ~np.isin(one, two + 1)], two


@dataclass(frozen=True, eq=False, slots=True)
class _Around:
    """Samples around possible edges: steps from each to the next, and what is the widest interval of one."""

    time: Array
    steps: Array
    widest: float

    def even(self, rows: Rows, intervals: int) -> NDArray[np.bool_]:
        """Whether the samples from these rows on are so many usual intervals, at most, apart."""
        gaps = [self.time[rows + n + 1] - self.time[rows + n] for n in range(intervals)]
        result: NDArray[np.bool_] = np.all([(gap > 0.0) & (gap <= self.widest) for gap in gaps], axis=0)
        return result

    def beside(self, rows: Rows, intervals: int) -> Array:
        """By how much the samples go on in an edge's direction in the interval before or after it; 0: not."""
        sign = np.sign(sum(self.steps[rows + n] for n in range(intervals)))
        last = self.steps.size - 1
        before = np.where(rows > 0, self.steps[np.maximum(rows - 1, 0)], 0.0)
        after = np.where(rows + intervals <= last, self.steps[np.minimum(rows + intervals, last)], 0.0)
        result: Array = np.maximum(0.0, np.maximum(sign * before, sign * after))
        return result


def _crossing(time: Array, value: Array, begin: Rows, end: Rows) -> Array:
    """When straight lines between rows, at most two of them, cross the middle of their ends' values [s]."""
    middle = 0.5 * (value[begin] + value[end])
    late = (end - begin == 2) & ((value[begin + 1] < middle) == (value[begin] < middle))
    row = begin + late
    rise = value[row + 1] - value[row]
    part = (middle - value[row]) / np.where(rise == 0.0, 1.0, rise)
    result: Array = time[row] + np.clip(part, 0.0, 1.0) * (time[row + 1] - time[row])
    return result
