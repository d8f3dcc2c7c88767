"""The best stepping list that a supply can hold: exact over all lists on its grid of dwells and voltages.

For an error, the fewest points up to each instant of the grid follow from the fewest up to the instants
before it from which one level can reach here: not nearer than the shortest dwell, not farther than the
longest, nor than where a voltage of the grid still lies within the error of the lowest and the highest value.
All three only ever move on, so one pass with running minima does it (linear in the steps of the grid). The
least error is found by bisection.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from railwright.compilation import FLOAT, GIVEN, INTEGER, INTEGERS, VECTOR, compiled
from railwright.waveforms.compiled import compiled_entry
from railwright.waveforms.fit_stepping import least_error_steps
from railwright.waveforms.point_list import Abilities, Listed, OnGrid, PointList, on_grid
from railwright.waveforms.waveform import Array, Waveform

Counts = NDArray[np.int64]
EXACTNESS = 1e-9
"""Where the bisection ends: part of the waveform's span."""


def stepping_list(wave: Waveform, abilities: Abilities) -> Listed | None:
    """The stepping list with the least error; None: no list lasts as long, or as short."""
    grid = on_grid(wave, abilities)
    low, high = np.full(grid.cells, np.inf), np.full(grid.cells, -np.inf)
    _cells(grid.wave.time, grid.wave.value, low, high)
    least = least_error_steps(wave, abilities.at_most).error
    span = float(np.ptp(wave.value)) + abilities.resolution
    best = _best(grid, low, high, abilities, span)
    if best is None:
        return None
    short = least - EXACTNESS * span
    enough = best[0]
    while enough - short > EXACTNESS * span:
        middle = 0.5 * (short + enough)
        found = _best(grid, low, high, abilities, middle)
        if found is None:
            short = middle
        else:
            enough, best = min(found[0], middle), found
    error, ends, levels = best
    dwells = np.diff(np.concatenate(([0], ends))) * grid.step
    points = PointList("step", float(levels[0]), levels, dwells)
    return Listed(points, error, least, grid.moved)


def _best(
    grid: OnGrid, low: Array, high: Array, abilities: Abilities, error: float
) -> tuple[float, Counts, Array] | None:
    """What the fewest points within an error really have: their error, where they end, their levels; None:
    there are no such points, or too many.
    """
    parent = np.empty(grid.cells + 1, np.int64)
    count = _fewest(low, high, grid.shortest, grid.longest, error, abilities.resolution, parent)
    if count > min(abilities.at_most, grid.cells):
        return None
    ends = np.empty(count, np.int64)
    here = grid.cells
    for place in range(count - 1, -1, -1):
        ends[place] = here
        here = int(parent[here])
    begins = np.concatenate(([0], ends[:-1]))
    lowest, highest = np.minimum.reduceat(low, begins), np.maximum.reduceat(high, begins)
    levels = abilities.on_grid(0.5 * (lowest + highest))
    return float(np.maximum(highest - levels, levels - lowest).max()), ends, levels


@compiled
def cells_passed(begin: float, end: float, cells: int) -> tuple[int, int]:
    """First step of the grid in which a line from row to row lies, and the one after its last; for a jump
    none. Raises ValueError where it begins before the grid.
    """
    if end <= begin:
        return 0, 0
    if not 0.0 <= begin < end:
        raise ValueError("at: expected numbers from 0 on")
    return int(np.floor(begin)), min(int(np.ceil(end)), cells)


@compiled_entry(GIVEN, GIVEN, VECTOR, VECTOR)
def _cells(at: Array, value: Array, low: Array, high: Array) -> None:
    """Lowest and highest value of a waveform, its time in steps of the grid, within each step (cells,).

    Raises ValueError where sizes do not fit together, or it begins before the grid.
    """
    if at.size < 1 or value.size != at.size or high.size != low.size:
        raise ValueError("at and value, low and high: expected as many of each, one at least")
    for row in range(1, at.size):
        begin, end = at[row - 1], at[row]
        slope = (value[row] - value[row - 1]) / (end - begin)
        for cell in range(*cells_passed(begin, end, low.size)):
            first = value[row - 1] + slope * max(0.0, cell - begin)
            last = value[row] if cell + 1 >= end else value[row - 1] + slope * (cell + 1 - begin)
            low[cell] = min(low[cell], first, last)
            high[cell] = max(high[cell], first, last)


@compiled_entry(GIVEN, GIVEN, INTEGER, INTEGER, FLOAT, FLOAT, INTEGERS)
def _fewest(
    low: Array, high: Array, shortest: int, longest: int, error: float, resolution: float, parent: Counts
) -> int:
    """Fewest points within an error, cells + 1 where there are none; parent (cells + 1,): where the last
    point that ends at an instant begins. Raises ValueError where sizes do not fit together.
    """
    cells = low.size
    if high.size != cells or parent.size != cells + 1 or shortest < 0:
        raise ValueError("low, high, parent: expected (cells,) twice and (cells + 1,), and dwells from 0 on")
    none = cells + 1
    fewest = np.full(cells + 1, none, np.int64)
    fewest[0] = 0
    lows, highs = np.empty(cells, np.int64), np.empty(cells, np.int64)
    froms = np.empty(cells + 1, np.int64)
    low_head = low_tail = high_head = high_tail = from_head = from_tail = 0
    begin = 0
    for end in range(1, cells + 1):
        cell = end - 1
        while low_tail > low_head and low[lows[low_tail - 1]] >= low[cell]:
            low_tail -= 1
        lows[low_tail] = cell
        low_tail += 1
        while high_tail > high_head and high[highs[high_tail - 1]] <= high[cell]:
            high_tail -= 1
        highs[high_tail] = cell
        high_tail += 1
        while begin < end:
            bottom, top = low[lows[low_head]], high[highs[high_head]]
            if resolution > 0.0:
                first = np.ceil((top - error) / resolution - 1e-9)
                fits = first <= np.floor((bottom + error) / resolution + 1e-9)
            else:
                fits = top - bottom <= 2.0 * error
            if fits:
                break
            begin += 1
            while low_tail > low_head and lows[low_head] < begin:
                low_head += 1
            while high_tail > high_head and highs[high_head] < begin:
                high_head += 1
        new = end - shortest
        if new >= 0 and fewest[new] < none:
            while from_tail > from_head and fewest[froms[from_tail - 1]] > fewest[new]:
                from_tail -= 1
            froms[from_tail] = new
            from_tail += 1
        earliest = max(begin, end - longest)
        while from_tail > from_head and froms[from_head] < earliest:
            from_head += 1
        if from_tail > from_head:
            parent[end] = froms[from_head]
            fewest[end] = fewest[froms[from_head]] + 1
    return int(fewest[cells])
