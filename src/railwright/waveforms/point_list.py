"""A supply's point list: what it may hold, what it makes, and how far that is from what was asked."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from railwright.waveforms.fit import tidy
from railwright.waveforms.waveform import Array, Waveform

MOST_CELLS = 1_000_000
"""A list may change at so many instants of its time at most; of finer grids each second, third, ... is used.
"""

SAME = 1e-6
"""Part of a step of the grid within which an instant lies on it."""


@dataclass(frozen=True, slots=True)
class Abilities:
    """What a point list may hold, SI units.

    at_most: points. shortest, longest: a dwell, in steps of `step`. lowest, highest: a voltage, in steps of
    `resolution` (0: any).
    """

    at_most: int
    shortest: float
    longest: float
    step: float
    lowest: float
    highest: float
    resolution: float = 0.0

    def __post_init__(self) -> None:
        if not (self.at_most >= 1 and self.step > 0.0 and 0.0 <= self.shortest <= self.longest):
            raise ValueError("a list has a point at least, and dwells from a shortest to a longest in steps")

    @property
    def cells(self) -> tuple[int, int]:
        """Shortest and longest dwell in steps, one at least."""
        shortest = max(1, math.ceil(self.shortest / self.step - SAME))
        longest = self.longest / self.step + SAME
        return shortest, max(shortest, int(min(longest, 2.0**40)))

    def on_grid(self, value: Array) -> Array:
        """The voltages nearest to these that can be set [V]."""
        near = np.clip(value, self.lowest, self.highest)
        if self.resolution:
            near = np.round(near / self.resolution) * self.resolution
        return near


@dataclass(frozen=True, eq=False, slots=True)
class PointList:
    """Voltages (n,) [V] and dwells (n,) [s].

    step: each voltage is held for its dwell. line: each is reached at the end of its dwell, in a straight
    line from the one before; the first from `start`, which is set beforehand.
    """

    between: Literal["step", "line"]
    start: float
    voltages: Array
    dwells: Array

    @property
    def wave(self) -> Waveform:
        """What an output without errors makes of it."""
        ends = np.concatenate(([0.0], np.cumsum(self.dwells)))
        if self.between == "line":
            return Waveform(ends, np.concatenate(([self.start], self.voltages)))
        return Waveform(np.repeat(ends, 2)[1:-1], np.repeat(self.voltages, 2))


@dataclass(frozen=True, eq=False, slots=True)
class Listed:
    """A waveform as a point list, on the grid of dwells and voltages.

    error: largest deviation from what was asked [V], jumps apart. least: what no list of so many points can
    go below, were its dwells and voltages free [V]; error less this is the price of the grid, and of what the
    search on it may have missed. edge: how far jumps are out of time, or how long they last [s].
    """

    points: PointList
    error: float
    least: float
    edge: float


@dataclass(frozen=True, eq=False, slots=True)
class OnGrid:
    """A waveform on a list's grid of time: `wave` with its jumps moved to the grid, time in steps of it.

    step: of the grid that is used [s]. cells: steps altogether. moved: farthest that a jump was moved [s].
    shortest, longest: a dwell in steps.
    """

    wave: Waveform
    step: float
    cells: int
    moved: float
    shortest: int
    longest: int

    def since(self, start: float | None) -> Waveform:
        """The waveform with a jump in front from where the output stands before, if it does not begin there;
        None: it does.
        """
        if start is None or start == self.wave.value[0]:
            return self.wave
        return Waveform(np.append(0.0, self.wave.time), np.append(start, self.wave.value))


def on_grid(wave: Waveform, abilities: Abilities) -> OnGrid:
    """Move jumps to the nearest instant of the grid, each to one of its own, so that none is lost.

    Jumps must be met in time: half a step beside one, half its height is wrong, and no choice of levels
    helps. The list ends with the waveform, or at the last instant of the grid before, so that it is over when
    what comes next begins; a waveform shorter than any list keeps what was last.
    """
    wave = tidy(wave)
    shortest, longest = abilities.cells
    coarse = max(1, math.ceil(wave.duration / abilities.step / MOST_CELLS))
    step, shortest, longest = abilities.step * coarse, -(-shortest // coarse), max(1, longest // coarse)
    at = wave.time / step
    near = np.round(at)
    at = np.where(np.abs(at - near) < SAME, near, at)
    cells = max(math.floor(at[-1]), shortest)
    after = np.flatnonzero(np.diff(wave.time) == 0.0) + 1
    moved = 0.0
    if after.size:
        asked = at[after]
        turn = np.arange(after.size)
        given = np.maximum.accumulate(np.maximum(np.round(asked), 1.0) - turn) + turn
        if after.size < cells:
            given = np.minimum(given, cells - after.size + turn)  # what comes after the last lasts a step
        else:
            cells = max(cells, int(given[-1]) + 1)
        moved = float(np.abs(given - asked).max()) * step
        # Rows between two jumps stay between them.
        piece = np.searchsorted(after, np.arange(at.size), side="right")
        ends = np.concatenate(([0.0], given, [math.inf]))
        at = np.clip(at, ends[piece], ends[piece + 1])
        at[after], at[after - 1] = given, given
    value = wave.value
    if at[-1] > cells:
        inside = at < cells
        since = int(after[-1]) if after.size else 0
        last = np.interp(float(cells), at[since:], value[since:])
        at, value = np.append(at[inside], float(cells)), np.append(value[inside], last)
    elif at[-1] < cells:
        at, value = np.append(at, float(cells)), np.append(value, value[-1])
    return OnGrid(Waveform(at, value), step, cells, moved, shortest, longest)
