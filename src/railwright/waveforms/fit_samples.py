"""Straight lines through noisy samples, by least squares: where one ends and the next begins, and levels.

A tunnel wide enough for noise gives lines that break late: as far as any line goes. Here each break moves to
where two lines of their own on either side leave the least squares, lines that only follow noise are made
one, and a line that misses what stands out of the noise is parted. Sums over any rows come from running sums,
in no time; all loops are compiled. The breaks found so are good, not proved best.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
from numpy.typing import NDArray

from railwright.compilation import FLOAT, GIVEN, INTEGERS, MATRIX, compiled
from railwright.waveforms.compiled import compiled_entry
from railwright.waveforms.waveform import Array

Rows = NDArray[np.int64]

SWEEPS = 3
"""Times that every break is moved."""

FEWEST = 3
"""Rows of a line, at least."""

WORTH = 6.0
"""A break must take away so many times the logarithm of the rows, in squares of the noise: what the best
break of noise alone takes away is less, but for one recording in many.
"""

SAG = 0.6
"""A break must also take away so many squares of the tolerance for each row of the shorter line beside it:
what a bow within the tolerance leaves, about, of both.
"""

CERTAIN = 5.0
"""Two lines that miss each other by so many standard errors where one follows the other do not meet."""

NEAR = 10
"""Where two lines cross within so many rows of a break, and of their own, they meet there: noise hides the
corner itself.
"""


def breaks_refined(
    time: Array, value: Array, breaks: Rows, noise: float, tolerance: float, most: int
) -> Rows:
    """Better rows (m,) at which lines through samples begin, the first 0; at most `most` lines.

    time, value (n,): samples; breaks: rows at which a first attempt has them, 0 first; noise: r.m.s. [the
    samples' unit, > 0]; tolerance: what lines may be off without it.
    """
    sums = _running(time, value)
    worth = WORTH * math.log(max(3, time.size)) * noise**2
    bow = SAG * tolerance**2
    kept = [0]
    for row in breaks.tolist():
        if row - kept[-1] >= FEWEST and time.size - row >= FEWEST:
            kept.append(row)
    at = np.array([*kept, time.size], np.int64)
    for _ in range(SWEEPS):
        before = at.copy()
        _move(sums, at)
        at = at[: _merged(sums, at, worth, bow)]
        ends = np.empty(max(most + 1, at.size), np.int64)
        at = ends[: _parted(sums, at, worth, bow, ends)]
        if np.array_equal(before, at):
            break
    return at[:-1]


def lines_of(time: Array, value: Array, breaks: Rows, noise: float, tolerance: float) -> tuple[Array, Rows]:
    """Where lines of their own between breaks meet: instants (m + 1,) [s], and which of the inner ones are
    jumps (row of each in the instants).
    """
    ends = np.append(breaks, time.size)
    sums = _running(time, value)
    fits = np.array([_line(sums, a, b) for a, b in itertools.pairwise(ends)])
    meets, jumps = [float(time[0])], []
    for number in range(1, breaks.size):
        row = int(breaks[number])
        left, right = fits[number - 1], fits[number]
        middle = 0.5 * float(time[row - 1] + time[row])
        gap = (right[0] + right[1] * middle) - (left[0] + left[1] * middle)
        turn = left[1] - right[1]
        at = middle + gap / turn if turn else math.inf
        first, last = max(row - NEAR, ends[number - 1]), min(row + NEAR, ends[number + 1]) - 1
        near = time[first] <= at <= time[last]
        rows = row - ends[number - 1], ends[number + 1] - row
        least = max(2.0 * tolerance, CERTAIN * noise * math.sqrt(4.0 / rows[0] + 4.0 / rows[1]))
        if not near and abs(gap) > least:
            jumps.append(number)
            meets.append(middle)
            continue
        low, high = float(time[ends[number - 1]]), float(time[ends[number + 1] - 1])
        inside = low + 0.25 * (middle - low) < at < high - 0.25 * (high - middle)
        meets.append(max(meets[-1], at if near or inside else middle))
    meets.append(float(time[-1]))
    return np.array(meets), np.array(jumps, np.int64)


def levels_of(time: Array, value: Array, meets: Array, prior: Array, same: Rows) -> Array:
    """Levels (m,) at the instants where joined lines meet, by least squares over all samples.

    prior (m,): what a level is where no sample tells it. same (m,): number of the unknown that each level is,
    ascending by steps of 0 or 1: levels with one number are equal.
    """
    unknowns = int(same[-1]) + 1
    room = np.zeros((3, unknowns))
    _solve(time, value, meets, prior, same, room)
    levels: Array = room[2][same]
    return levels


def _running(time: Array, value: Array) -> Array:
    """Sums (6, n + 1) over the rows before each: 1, t, t², v, t·v, v², about the middle of both."""
    t, v = time - 0.5 * (time[0] + time[-1]), value - float(value.mean())
    sums = np.zeros((8, time.size + 1))
    for place, each in enumerate((np.ones(t.size), t, t * t, v, t * v, v * v)):
        np.cumsum(each, out=sums[place, 1:])
    sums[6, 0], sums[7, 0] = 0.5 * (time[0] + time[-1]), float(value.mean())
    return sums


def _line(sums: Array, begin: int, end: int) -> tuple[float, float]:
    """Level at time 0 and slope of the least squares' line through rows."""
    n, t, tt, v, tv, _ = sums[:6, end] - sums[:6, begin]
    spread = tt - t * t / n
    slope = (tv - t * v / n) / spread if spread > 0.0 and n > 1 else 0.0
    return float(v / n - slope * (t / n + sums[6, 0]) + sums[7, 0]), float(slope)


@compiled
def _squares(sums: Array, begin: int, end: int) -> float:
    """Squares that the best line through rows leaves."""
    n = sums[0, end] - sums[0, begin]
    t, tt = sums[1, end] - sums[1, begin], sums[2, end] - sums[2, begin]
    v, tv = sums[3, end] - sums[3, begin], sums[4, end] - sums[4, begin]
    vv = sums[5, end] - sums[5, begin]
    left, spread, along = vv - v * v / n, tt - t * t / n, tv - t * v / n
    if spread > 0.0:
        left -= along * along / spread
    return float(max(left, 0.0))


@compiled
def _check(sums: Array, at: Rows) -> None:
    """Raise ValueError where breaks are not ascending rows of what is summed."""
    if sums.shape[0] != 8 or at.size < 2 or at[0] < 0 or at[at.size - 1] >= sums.shape[1]:
        raise ValueError("sums, at: expected (8, rows + 1), and two rows at least")
    for number in range(1, at.size):
        if at[number] <= at[number - 1]:
            raise ValueError("at: expected ascending rows")


@compiled
def _best(sums: Array, begin: int, end: int) -> tuple[int, float]:
    """Row at which a second line best begins, and the squares that are left; row `end`: there is none."""
    row, least = end, np.inf
    for middle in range(begin + FEWEST, end - FEWEST + 1):
        left = _squares(sums, begin, middle) + _squares(sums, middle, end)
        if left < least:
            row, least = middle, left
    return row, least


@compiled_entry(MATRIX, INTEGERS)
def _move(sums: Array, at: Rows) -> None:
    """Move each break to where it is best between its neighbours. As the others below, it raises ValueError
    where sizes do not fit together, or rows do not ascend.
    """
    _check(sums, at)
    for number in range(1, at.size - 1):
        row, _ = _best(sums, at[number - 1], at[number + 1])
        if row < at[number + 1]:
            at[number] = row


@compiled_entry(MATRIX, INTEGERS, FLOAT, FLOAT)
def _merged(sums: Array, at: Rows, worth: float, bow: float) -> int:
    """Take out breaks that are not worth it; gives how many entries are left."""
    _check(sums, at)
    kept = 1
    for number in range(1, at.size - 1):
        begin, middle, end = at[kept - 1], at[number], at[number + 1]
        gain = _squares(sums, begin, end) - _squares(sums, begin, middle) - _squares(sums, middle, end)
        if gain >= worth + bow * min(middle - begin, end - middle):
            at[kept] = middle
            kept += 1
    at[kept] = at[at.size - 1]
    return kept + 1


@compiled_entry(MATRIX, INTEGERS, FLOAT, FLOAT, INTEGERS)
def _parted(sums: Array, at: Rows, worth: float, bow: float, ends: Rows) -> int:
    """Part lines where that is worth it, again and again, as long as there is room in ends; gives how many of
    them there are.
    """
    _check(sums, at)
    if ends.size < at.size:
        raise ValueError("ends: expected room for as many as there are")
    ends[0] = at[0]
    count, lines = 1, at.size - 1
    waiting = np.empty(ends.size, np.int64)
    for number in range(1, at.size):
        waiting[0], size = at[number], 1
        while size > 0:
            begin, end = ends[count - 1], waiting[size - 1]
            row, left = _best(sums, begin, end)
            least = worth + bow * min(row - begin, end - row)
            if lines + 1 < ends.size and row < end and _squares(sums, begin, end) - left > least:
                waiting[size] = row
                size += 1
                lines += 1
            else:
                ends[count] = end
                count += 1
                size -= 1
    return count


@compiled_entry(GIVEN, GIVEN, GIVEN, GIVEN, INTEGERS, MATRIX)
def _solve(time: Array, value: Array, meets: Array, prior: Array, same: Rows, room: Array) -> None:
    """The normal equations of joined lines, solved in place; room (3, unknowns), zero.

    Raises ValueError where sizes do not fit together.
    """
    if value.size != time.size or meets.size < 2 or prior.size != meets.size or same.size != meets.size:
        raise ValueError("time and value, meets, prior, same: expected as many of each, two meets at least")
    if room.shape[0] != 3 or room.shape[1] < 1 or same.min() < 0 or same.max() >= room.shape[1]:
        raise ValueError("room: expected three rows of as many as same counts")
    diagonal, beside, right = room[0], room[1], room[2]
    line = 0
    for row in range(time.size):
        while line + 2 < meets.size and time[row] > meets[line + 1]:
            line += 1
        length = meets[line + 1] - meets[line]
        part = min(max((time[row] - meets[line]) / length, 0.0), 1.0) if length > 0.0 else 0.0
        first, second = same[line], same[line + 1]
        if first == second:
            diagonal[first] += 1.0
            right[first] += value[row]
        else:
            diagonal[first] += (1.0 - part) ** 2
            diagonal[second] += part**2
            beside[first] += part * (1.0 - part)
            right[first] += (1.0 - part) * value[row]
            right[second] += part * value[row]
    for meet in range(meets.size):  # where no sample tells a level
        diagonal[same[meet]] += 1e-6
        right[same[meet]] += 1e-6 * prior[meet]
    solve_tridiagonal(diagonal, beside, right)


@compiled
def solve_tridiagonal(diagonal: Array, beside: Array, right: Array) -> None:
    """Solve symmetric equations (n,) of three diagonals, positive definite: `right` becomes the solution, and
    `diagonal` room to work in. beside (n,): between each unknown and the next, the last unused.

    By hand, as scipy cannot be called from compiled code; as `scipy.linalg.solveh_banded`.
    """
    for unknown in range(1, right.size):
        times = beside[unknown - 1] / diagonal[unknown - 1]
        diagonal[unknown] -= times * beside[unknown - 1]
        right[unknown] -= times * right[unknown - 1]
    right[-1] /= diagonal[-1]
    for unknown in range(right.size - 2, -1, -1):
        right[unknown] = (right[unknown] - beside[unknown] * right[unknown + 1]) / diagonal[unknown]
