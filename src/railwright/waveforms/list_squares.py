"""Lists of the least squares, for a waveform of which no list of so many points keeps within a tolerance.

There the least largest deviation is a poor guide: the worst stretch decides it, and all others may be off as
much. Here all points are used so that the integral of the squared deviation becomes small. Where levels or
lines may change is chosen among instants of the grid at which the waveform does something, by dynamic
programming with a price for each point (of these, and for such a price, no choice is better: of levels it is
the least; of lines it is for lines that need not meet). The price is found by bisection; points left over
part the stretch that gains most; then every change moves to where it is best between its neighbours. Where
lines meet is moved once more, from there and from where those of the least largest deviation meet, as long as
that leaves less of all.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from railwright.compilation import FLOAT, GIVEN, INTEGER, INTEGERS, MATRIX, VECTOR, compiled
from railwright.waveforms.compiled import compiled_entry
from railwright.waveforms.fit import deviation
from railwright.waveforms.fit_lines import least_error_lines
from railwright.waveforms.fit_samples import solve_tridiagonal
from railwright.waveforms.fit_stepping import least_error_steps
from railwright.waveforms.list_lines import spaced, without_jumps
from railwright.waveforms.list_stepping import cells_passed
from railwright.waveforms.point_list import Abilities, Listed, OnGrid, PointList, on_grid
from railwright.waveforms.waveform import Array, Waveform

Cells = NDArray[np.int64]

PLACES = 1500
"""Instants that are looked at for a change, at most so many, or three times the points."""

PRICES = 40
"""Bisections of the price of a point."""

SWEEPS = 4
"""Times that every change is moved to its best place."""

STEP, LINE = 0, 1
"""Kinds of list."""


def stepping_squares(wave: Waveform, abilities: Abilities) -> Listed | None:
    """The stepping list; None: no list lasts as long."""
    grid = on_grid(wave, abilities)
    sums, level = _sums(grid.wave, grid.cells)
    ends = _ends(grid, sums, grid.wave, abilities.at_most, STEP)
    if ends is None:
        return None
    levels = abilities.on_grid(level + np.diff(sums[0, ends]) / np.diff(ends))
    points = PointList("step", float(levels[0]), levels, np.diff(ends) * grid.step)
    made = Waveform(np.repeat(ends.astype(np.float64), 2)[1:-1], np.repeat(levels, 2))
    least = least_error_steps(wave, abilities.at_most).error
    return Listed(points, deviation(grid.wave, made), least, grid.moved)


def line_squares(wave: Waveform, abilities: Abilities, start: float | None = None) -> Listed | None:
    """The interpolating list; a jump is played as a line in the shortest dwell. None: none lasts as long.

    start: where the output stands before, if not where the waveform begins: then there is a jump between.
    """
    grid = on_grid(wave, abilities)
    jumping = grid.since(start)
    asked, lost = without_jumps(jumping, grid.shortest)
    sums, level = _sums(asked, grid.cells)
    ends = _ends(grid, sums, asked, abilities.at_most, LINE)
    if ends is None:
        return None
    fit = least_error_lines(asked, abilities.at_most)
    other = spaced(fit.wave.time, grid, min(abilities.at_most, max(1, grid.cells // grid.shortest)))
    tried = [ends] if other is None else [ends, other]
    for each in tried:
        _joined_moved(sums, each, grid.shortest, grid.longest, SWEEPS)
    (_, own), ends = min(((_joined(sums, each), each) for each in tried), key=lambda one: one[0][0])
    levels = abilities.on_grid(level + own)
    points = PointList("line", float(levels[0]), levels[1:], np.diff(ends) * grid.step)
    error = max(lost, deviation(asked, Waveform(ends.astype(np.float64), levels)))
    edge = grid.moved + grid.shortest * grid.step if (np.diff(jumping.time) == 0.0).any() else 0.0
    return Listed(points, error, max(0.0, fit.error - fit.gap), edge)


def _sums(wave: Waveform, cells: int) -> tuple[Array, float]:
    """Integrals (3, cells + 1) from 0 to each instant of the grid of f, t·f and f², time in steps of it; and
    the level from which f is counted, which keeps them small.
    """
    level = 0.5 * float(wave.value.min() + wave.value.max())
    sums = np.zeros((3, cells + 1))
    _integrate(wave.time, wave.value - level, sums)
    np.cumsum(sums, axis=1, out=sums)
    return sums, level


@compiled_entry(GIVEN, GIVEN, MATRIX)
def _integrate(at: Array, value: Array, sums: Array) -> None:
    """Integral of f, t·f and f² within each step of the grid, exact for straight lines, at the step's end.

    Raises ValueError where sizes do not fit together, or it begins before the grid.
    """
    cells = sums.shape[1] - 1
    if at.size < 1 or value.size != at.size or sums.shape[0] != 3 or cells < 1:
        raise ValueError("at and value, sums: expected as many of each, one at least, and (3, cells + 1)")
    for row in range(1, at.size):
        begin, end = at[row - 1], at[row]
        slope = (value[row] - value[row - 1]) / (end - begin)
        for cell in range(*cells_passed(begin, end, cells)):
            since, until = max(begin, float(cell)), min(end, cell + 1.0)
            length = until - since
            if length <= 0.0:
                continue
            first = value[row - 1] + slope * (since - begin)
            last = value[row - 1] + slope * (until - begin)
            middle = 0.5 * (first + last)
            sums[0, cell + 1] += length * middle
            sums[1, cell + 1] += length * (middle * 0.5 * (since + until) + slope * length * length / 12.0)
            sums[2, cell + 1] += length * (first * first + first * last + last * last) / 3.0


def _ends(grid: OnGrid, sums: Array, asked: Waveform, points: int, kind: int) -> Cells | None:
    """Where points end (m + 1,), the first at 0; None: no list lasts as long."""
    most = min(points, max(1, grid.cells // grid.shortest))
    if -(-grid.cells // grid.longest) > most:
        return None
    places = _places(grid, asked, most, kind)
    ends = np.empty(places.size, np.int64)
    cheap, dear, found = 0.0, float(sums[2, -1]) + 1.0, None
    for _ in range(PRICES):
        price = 0.5 * (cheap + dear) if found is not None else dear
        count = _chosen(sums, places, grid.shortest, grid.longest, price, kind, ends)
        if 0 < count <= most:
            dear, found = price, ends[: count + 1].copy()
            if count == most:
                break
        elif found is None:
            return None
        else:
            cheap = price
    assert found is not None
    room = np.empty(most + 1, np.int64)
    room[: found.size] = found
    size = _used_up(sums, room, found.size, grid.shortest, kind)
    at = room[:size]
    for _ in range(SWEEPS):
        before = at.copy()
        _moved(sums, at, grid.shortest, grid.longest, kind)
        if np.array_equal(before, at):
            break
    return at


def _places(grid: OnGrid, asked: Waveform, most: int, kind: int) -> Cells:
    """Instants of the grid at which a change is looked at: jumps, then corners where the waveform turns most,
    and enough others in between.
    """
    room = max(PLACES, 3 * most)
    if grid.cells <= room:
        return np.arange(grid.cells + 1)
    jumps = np.unique(asked.time[1:][np.diff(asked.time) == 0.0])
    corners = asked.time
    if kind == STEP:
        corners = least_error_steps(asked, room // 2).wave.time
    elif corners.size > room // 2:
        corners = least_error_lines(asked, room // 2).wave.time
    even = np.linspace(0.0, grid.cells, room // 4)
    longest = np.arange(0.0, grid.cells, float(grid.longest))
    beside = np.concatenate((jumps, jumps - grid.shortest, jumps + grid.shortest))
    at = np.concatenate((beside, corners, even, longest, [0.0, grid.cells]))
    return np.unique(np.clip(np.round(at), 0, grid.cells).astype(np.int64))


@compiled
def _squares(sums: Array, begin: int, end: int, kind: int) -> float:
    """Integral of the squared deviation of the best level, or the best line, from begin to end."""
    length = float(end - begin)
    area = sums[0, end] - sums[0, begin]
    left = sums[2, end] - sums[2, begin] - area * area / length
    if kind == 1:
        along = sums[1, end] - sums[1, begin] - 0.5 * (begin + end) * area
        left -= 12.0 * along * along / (length * length * length)
    return float(max(left, 0.0))


@compiled
def _check(sums: Array, at: Cells) -> None:
    """Raise ValueError where instants are not ascending ones of what is summed."""
    if sums.shape[0] != 3 or at.size < 2 or at[0] < 0 or at[at.size - 1] >= sums.shape[1]:
        raise ValueError("sums, instants: expected (3, cells + 1), and two instants at least")
    for number in range(1, at.size):
        if at[number] <= at[number - 1]:
            raise ValueError("instants: expected them to ascend")


@compiled_entry(MATRIX, INTEGERS, INTEGER, INTEGER, FLOAT, INTEGER, INTEGERS)
def _chosen(
    sums: Array, places: Cells, shortest: int, longest: int, price: float, kind: int, ends: Cells
) -> int:
    """The points whose squares and prices are least together: how many, and where they end; 0: none last as
    long. As the others below, it raises ValueError where sizes do not fit together.
    """
    _check(sums, places)
    size = places.size
    if ends.size < size or shortest < 1:
        raise ValueError("ends, shortest: expected room for all places, and a step at least")
    cost = np.full(size, np.inf)
    count = np.zeros(size, np.int64)
    parent = np.full(size, -1, np.int64)
    cost[0] = 0.0
    for end in range(1, size):
        for begin in range(end - 1, -1, -1):
            dwell = places[end] - places[begin]
            if dwell < shortest or cost[begin] == np.inf:
                continue
            if dwell > longest:
                break
            own = _squares(sums, places[begin], places[end], kind)
            if own + price >= cost[end]:
                break  # it only grows with what lies before
            total = cost[begin] + own + price
            if total < cost[end]:
                cost[end], parent[end], count[end] = total, begin, count[begin] + 1
    if parent[size - 1] < 0:
        return 0
    here = size - 1
    for place in range(count[size - 1], -1, -1):
        ends[place] = places[here]
        here = parent[here]
    return int(count[size - 1])


@compiled
def _best(sums: Array, begin: int, end: int, shortest: int, longest: int, kind: int) -> tuple[int, float]:
    """Where a stretch is best parted in two, and the squares that are left; begin: nowhere."""
    best, least = begin, np.inf
    for middle in range(max(begin + shortest, end - longest), min(end - shortest, begin + longest) + 1):
        left = _squares(sums, begin, middle, kind) + _squares(sums, middle, end, kind)
        if left < least:
            best, least = middle, left
    return best, least


@compiled_entry(MATRIX, INTEGERS, INTEGER, INTEGER, INTEGER)
def _used_up(sums: Array, ends: Cells, size: int, shortest: int, kind: int) -> int:
    """Part the stretches that gain most until no room is left, or none gains; gives how many ends there
    are.
    """
    room = ends.size
    if size > room or shortest < 1:
        raise ValueError("size, shortest: expected no more than there is room for, and a step at least")
    _check(sums, ends[:size])
    gain = np.full(room, -1.0)
    part = np.zeros(room, np.int64)
    for number in range(size - 1):
        part[number], left = _best(sums, ends[number], ends[number + 1], shortest, ends[size - 1], kind)
        gain[number] = _squares(sums, ends[number], ends[number + 1], kind) - left
    least = 1e-12 * (sums[2, ends[size - 1]] + 1e-300)
    while size < room:
        number = int(np.argmax(gain[: size - 1]))
        if gain[number] <= least:
            break
        for later in range(size, number + 1, -1):
            ends[later], gain[later], part[later] = ends[later - 1], gain[later - 1], part[later - 1]
        ends[number + 1] = part[number]
        size += 1
        for one in (number, number + 1):
            part[one], left = _best(sums, ends[one], ends[one + 1], shortest, ends[size - 1], kind)
            gain[one] = _squares(sums, ends[one], ends[one + 1], kind) - left
    return size


@compiled_entry(MATRIX, INTEGERS, INTEGER, INTEGER, INTEGER)
def _moved(sums: Array, ends: Cells, shortest: int, longest: int, kind: int) -> None:
    """Move each change to its best place between its neighbours."""
    _check(sums, ends)
    if shortest < 1:
        raise ValueError("shortest: expected a step at least")
    for number in range(1, ends.size - 1):
        best, _ = _best(sums, ends[number - 1], ends[number + 1], shortest, longest, kind)
        if best > ends[number - 1]:
            ends[number] = best


def _joined(sums: Array, ends: Cells) -> tuple[float, Array]:
    """The least squares that lines leave which meet at these instants (m,), and their levels there (m,)."""
    levels = np.empty(ends.size)
    return _levels(sums, ends, levels, np.zeros((3, ends.size))), levels


@compiled_entry(MATRIX, INTEGERS, VECTOR, MATRIX)
def _levels(sums: Array, ends: Cells, levels: Array, room: Array) -> float:
    """Levels (m,) of the least squares, room (3, m) to work in; gives the squares that are left."""
    _check(sums, ends)
    if levels.size != ends.size or room.shape != (3, ends.size):
        raise ValueError("levels, room: expected (m,) and (3, m)")
    return _solve(sums, ends, levels, room)


@compiled
def _solve(sums: Array, ends: Cells, levels: Array, room: Array) -> float:
    """The normal equations of joined lines; gives the squares that are left."""
    diagonal, beside, right = room[0], room[1], room[2]
    for meet in range(ends.size):
        diagonal[meet] = beside[meet] = right[meet] = 0.0
    for line in range(ends.size - 1):
        begin, end = ends[line], ends[line + 1]
        length = float(end - begin)
        area = sums[0, end] - sums[0, begin]
        second = (sums[1, end] - sums[1, begin] - begin * area) / length
        diagonal[line] += length / 3.0
        diagonal[line + 1] += length / 3.0
        beside[line] = length / 6.0
        right[line] += area - second
        right[line + 1] += second
    for meet in range(ends.size):
        levels[meet] = right[meet]
    solve_tridiagonal(diagonal, beside, levels)
    left = sums[2, ends[ends.size - 1]] - sums[2, ends[0]]
    for meet in range(ends.size):
        left -= levels[meet] * right[meet]
    return float(left)


@compiled_entry(MATRIX, INTEGERS, INTEGER, INTEGER, INTEGER)
def _joined_moved(sums: Array, ends: Cells, shortest: int, longest: int, sweeps: int) -> None:
    """Move each meeting of lines by more and more steps, as long as that leaves less of all."""
    _check(sums, ends)
    if shortest < 1:
        raise ValueError("shortest: expected a step at least")
    levels, room = np.empty(ends.size), np.empty((3, ends.size))
    least = _solve(sums, ends, levels, room)
    for _ in range(sweeps):
        better = False
        for number in range(1, ends.size - 1):
            for way in (-1, 1):
                step = 1
                while step > 0:
                    before = ends[number]
                    to = before + way * step
                    one, other = to - ends[number - 1], ends[number + 1] - to
                    if min(one, other) < shortest or max(one, other) > longest:
                        break
                    ends[number] = to
                    left = _solve(sums, ends, levels, room)
                    if left < least * (1.0 - 1e-9):
                        least, better, step = left, True, 2 * step
                    else:
                        ends[number] = before
                        step = 0
        if not better:
            break
