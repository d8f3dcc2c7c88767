"""A good interpolating list that a supply can hold: the best lines there are, brought to its grid.

Where the best lines meet (free of any grid) is rounded to the grid, not nearer than the shortest dwell; for
the instants found so, the levels of the least error are a linear program, exact; they are rounded last. How
far the result lies above what no list can go below is stated: the search over instants on the grid is not
exhaustive.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from railwright.waveforms.fit import deviation, just_before
from railwright.waveforms.fit_lines import least_error_lines
from railwright.waveforms.point_list import Abilities, Listed, OnGrid, PointList, on_grid
from railwright.waveforms.tunnel import LOWER, corners
from railwright.waveforms.waveform import Array, Waveform

Cells = NDArray[np.int64]
FEWER = (1.0, 0.8, 0.6, 0.45, 0.3, 0.2)
"""Parts of the points that are tried: where dwells must not be short, fewer may be better."""

GOOD_ENOUGH = 1.05
"""So near to the least error nothing more is tried."""


def line_list(wave: Waveform, abilities: Abilities, start: float | None = None) -> Listed | None:
    """An interpolating list; a jump is played as a line in the shortest dwell. None: none lasts as long.

    start: where the output stands before, if not where the waveform begins: then there is a jump between.
    What is lost where jumps are nearer together than the shortest dwell counts in the error.
    """
    grid = on_grid(wave, abilities)
    if -(-grid.cells // grid.longest) > abilities.at_most:
        return None
    jumping = grid.since(start)
    found = _fitted(jumping, grid, abilities)
    if found is None or found[0] > abilities.resolution:
        earlier = _fitted(_from_corners(jumping, grid.shortest), grid, abilities)
        if earlier is not None and (found is None or earlier[0] < found[0]):
            found = earlier
    if found is None:
        return None
    error, meets, levels, least = found
    points = PointList("line", float(levels[0]), levels[1:], np.diff(meets) * grid.step)
    edge = grid.moved + grid.shortest * grid.step if (np.diff(jumping.time) == 0.0).any() else 0.0
    return Listed(points, error, least, edge)


def _fitted(
    jumping: Waveform, grid: OnGrid, abilities: Abilities
) -> tuple[float, Cells, Array, float] | None:
    """The error, where lines meet, the levels there, and a lower bound of the error of any list; None: no
    list lasts as long.
    """
    asked, lost = without_jumps(jumping, grid.shortest)
    most = min(abilities.at_most, max(1, grid.cells // grid.shortest))
    best: tuple[float, Cells, Array] | None = None
    least = 0.0
    for part in FEWER:
        fit = least_error_lines(asked, max(1, round(most * part)))
        if part == FEWER[0]:
            least = max(0.0, fit.error - fit.gap)
        meets = spaced(fit.wave.time, grid, most)
        if meets is None:
            continue
        levels = abilities.on_grid(_levels(asked, meets, abilities))
        error = max(lost, deviation(asked, Waveform(meets.astype(np.float64), levels)))
        if best is None or error < best[0]:
            best = error, meets, levels
        if best[0] <= GOOD_ENOUGH * least + abilities.resolution:
            break
    return None if best is None else (*best, least)


def _from_corners(wave: Waveform, over: int) -> Waveform:
    """Jumps that end a level shorter than `over` begin where the level does: lines cannot meet so near to
    each other, and a jump is out by `over` at most in either case.
    """
    time, value, kept = wave.time.copy(), wave.value.copy(), np.ones(wave.time.size, bool)
    for jump in np.flatnonzero(np.diff(wave.time) == 0.0):
        first = jump
        while first > 0 and value[first - 1] == value[jump]:
            first -= 1
        if 0.0 < time[jump] - time[first] < over:
            time[jump], value[jump] = time[first], wave.value[jump + 1]
            kept[first + 1 : jump] = False
    return Waveform(time[kept], value[kept])


def without_jumps(wave: Waveform, over: int) -> tuple[Waveform, float]:
    """Each jump as a line that begins there and lasts `over` [the waveform's time]; of jumps that are nearer
    together than that, the first takes the others with it. And what is lost with them: how far the waveform
    leaves the range of such a line while it lasts.
    """
    jumps = np.flatnonzero(np.diff(wave.time) == 0.0)
    if not jumps.size:
        return wave, 0.0
    at = wave.time[jumps]
    ends = np.minimum(at + over, wave.duration)
    goals = just_before(wave, ends)
    passed = np.searchsorted(wave.time, ends, side="left")
    later = np.searchsorted(wave.time, ends, side="right")
    following = np.maximum(np.searchsorted(at, ends, side="left"), np.arange(jumps.size) + 1)
    time, value, lost = [wave.time[: jumps[0] + 1]], [wave.value[: jumps[0] + 1]], 0.0
    place = 0
    while place < jumps.size:
        jump, goal, after = jumps[place], goals[place], following[place]
        if passed[place] > jump + 1:
            away = wave.value[jump + 1 : passed[place]]
            low, high = min(goal, wave.value[jump]), max(goal, wave.value[jump])
            lost = max(lost, float(away.max()) - high, low - float(away.min()))
        stop = jumps[after] + 1 if after < jumps.size else wave.time.size
        # Where the next jump comes just then, its first row is where this line ends.
        time += [ends[place : place + 1], wave.time[later[place] : stop]]
        value += [goals[place : place + 1], wave.value[later[place] : stop]]
        place = after
    return Waveform(np.concatenate(time), np.concatenate(value)), lost


def spaced(meets: Array, grid: OnGrid, most: int) -> Cells | None:
    """Meets on the grid, neither nearer nor farther than dwells may be; None: that takes too many points."""
    at = np.round(meets).astype(np.int64)
    at[0], at[-1] = 0, grid.cells
    turn = np.arange(at.size) * grid.shortest
    if turn[-1] > grid.cells:
        return None
    at = np.maximum.accumulate(at - turn) + turn
    back = grid.cells - turn[::-1]
    at = np.minimum(at, back)
    lengths = np.diff(at)
    parts = -(-lengths // grid.longest)
    if parts.sum() > most or (lengths // parts < grid.shortest).any():
        return None
    if (parts > 1).any():
        pieces = [
            begin + np.round(np.arange(count) * length / count).astype(np.int64)
            for begin, length, count in zip(at[:-1], lengths, parts, strict=True)
        ]
        at = np.append(np.concatenate(pieces), grid.cells)
    return at


def _levels(asked: Waveform, meets: Cells, abilities: Abilities) -> Array:
    """Levels (n + 1,) of the least error for lines that meet at these instants (n + 1,)."""
    from scipy.optimize import linprog
    from scipy.sparse import csr_array

    room = (2 * (asked.time.size + 3 * meets.size), 4)
    found = np.empty(room)
    count = corners(asked.time, asked.value, meets.astype(np.float64), found)
    line, at, value, side = found[:count].T
    line = line.astype(np.int64)
    begin, length = meets[line], np.diff(meets)[line]
    part = (at - begin) / length
    # Below the waveform's upper corners by the error at most, above its lower ones by as much.
    sign = np.where(side == LOWER, -1.0, 1.0)
    row = np.arange(count)
    matrix = csr_array(
        (
            np.concatenate((sign * (1.0 - part), sign * part, np.full(count, -1.0))),
            (np.tile(row, 3), np.concatenate((line, line + 1, np.full(count, meets.size)))),
        ),
        shape=(count, meets.size + 1),
    )
    cost = np.zeros(meets.size + 1)
    cost[-1] = 1.0
    bounds = [(abilities.lowest, abilities.highest)] * meets.size + [(0.0, None)]
    solved = linprog(cost, matrix, sign * value, bounds=bounds, method="highs")
    if solved.status != 0:
        return asked.at(meets.astype(np.float64))
    levels: Array = solved.x[:-1]
    return levels
