"""How far what an output is told lies from what is asked: one set of figures, for the host's set points and
for a point list alike.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from railwright.waveforms.fit import just_before
from railwright.waveforms.waveform import Array, Waveform

LONG = 2.0
"""A flat stretch has a level of its own from so many times `beside` on."""


@dataclass(frozen=True, slots=True)
class PlayedFigures:
    """A waveform told against the one asked, both in straight lines and jumps; exact for them.

    largest: deviation by amount [V], but for what a moved edge makes. rms: over the whole time, moved edges
    with it [V]; steady: the same without them. level: of a flat stretch, by which its mean is off at most
    [V]. edges: jumps that count; missing: those of them that are not told at all. late: farthest of the
    others, early or late, from half height to half height [s]. duration: of what is told [s].
    """

    largest: float
    rms: float
    steady: float
    level: float
    edges: int
    missing: int
    late: float
    duration: float


def figures(asked: Waveform, told: Waveform, beside: float, least: float = 0.0) -> PlayedFigures:
    """The figures of a waveform told; after its end it keeps its last value.

    beside: so far from an asked jump the told one may be, and so long it may last, and what that makes does
    not count as a deviation [s]. least: jumps up to this height do not count as edges [V].
    """
    at, low, high = _jumps(asked)
    edge = np.abs(high - low) > least
    crossed, since, until = np.full(at.size, np.inf), at.copy(), at.copy()
    for own in (edge, ~edge):
        found = _crossings(told, at[own], low[own], high[own], asked.duration)
        crossed[own], since[own], until[own] = found
    there = np.abs(crossed - at) <= beside
    opens = np.where(there, np.maximum(np.minimum(at, since), at - beside), at)
    closes = np.where(there, np.minimum(np.maximum(at, until), at + beside), at)
    rows = np.unique(np.concatenate((asked.time, told.time, opens, closes)))
    rows = rows[(rows >= 0.0) & (rows <= asked.duration)]
    if rows.size < 2:
        return PlayedFigures(0.0, 0.0, 0.0, 0.0, 0, 0, 0.0, told.duration)
    begins, ends = rows[:-1], rows[1:]
    first = told.at(begins) - asked.at(begins)
    last = just_before(told, ends) - just_before(asked, ends)
    length = ends - begins
    square = length * (first * first + first * last + last * last) / 3.0
    counts = ~_within(0.5 * (begins + ends), opens, closes)
    off = np.maximum(np.abs(first), np.abs(last))[counts]
    late = np.abs(crossed - at)[edge]
    return PlayedFigures(
        largest=float(off.max()) if off.size else 0.0,
        rms=math.sqrt(float(square.sum()) / asked.duration),
        steady=math.sqrt(float(square[counts].sum()) / asked.duration),
        level=_levels_off(
            asked, begins[counts], 0.5 * (length * (first + last))[counts], length[counts], LONG * beside
        ),
        edges=late.size,
        missing=int(np.isinf(late).sum()),
        late=float(late[np.isfinite(late)].max(initial=0.0)),
        duration=told.duration,
    )


def _jumps(asked: Waveform) -> tuple[Array, Array, Array]:
    """When a waveform jumps within its time [s], from what, and to what."""
    time, value = asked.time, asked.value
    rows = np.flatnonzero((np.diff(time) == 0.0) & (np.diff(value) != 0.0))
    rows = rows[(time[rows] > 0.0) & (time[rows] < asked.duration)]
    return time[rows], value[rows], value[rows + 1]


def _crossings(
    told: Waveform, at: Array, low: Array, high: Array, duration: float
) -> tuple[Array, Array, Array]:
    """When a waveform passes half the height of each asked jump, in its direction, nearest to it and nearer
    than to the next ones; inf: it does not. And when the line or jump that does so begins and ends.
    """
    crossed, since, until = np.full(at.size, np.inf), at.copy(), at.copy()
    before = np.concatenate(([0.0], 0.5 * (at[1:] + at[:-1]))) if at.size else at
    after = np.append(before[1:], duration)
    time, value = told.time, told.value
    for number in range(at.size):
        first = max(0, int(np.searchsorted(time, before[number], side="left")) - 1)
        end = int(np.searchsorted(time, after[number], side="right")) + 1
        t, v = time[first:end], value[first:end]
        sign = 1.0 if high[number] > low[number] else -1.0
        above = sign * (v - 0.5 * (low[number] + high[number]))
        passes = np.flatnonzero((above[:-1] < 0.0) & (above[1:] >= 0.0))
        if not passes.size:
            continue
        part = above[passes] / (above[passes] - above[passes + 1])
        when = t[passes] + part * (t[passes + 1] - t[passes])
        when[(when < before[number]) | (when > after[number])] = np.inf
        best = int(np.argmin(np.abs(when - at[number])))
        if math.isfinite(when[best]):
            crossed[number] = when[best]
            since[number], until[number] = t[passes[best]], t[passes[best] + 1]
    return crossed, since, until


def _within(instants: Array, opens: Array, closes: Array) -> NDArray[np.bool_]:
    """Which instants lie in one of some windows."""
    begun = np.searchsorted(np.sort(opens), instants, side="left")
    result: NDArray[np.bool_] = begun > np.searchsorted(np.sort(closes), instants, side="left")
    return result


def _levels_off(asked: Waveform, begins: Array, areas: Array, lengths: Array, least: float) -> float:
    """Largest mean deviation on a flat stretch of a waveform of that length at least; areas of the deviation
    from each instant on.
    """
    flat = (np.diff(asked.value) == 0.0) & (np.diff(asked.time) >= least)
    row = np.searchsorted(asked.time, begins, side="right") - 1
    row = np.minimum(row, flat.size - 1)
    of = row[flat[row]]
    if not of.size:
        return 0.0
    area = np.bincount(of, areas[flat[row]])
    length = np.bincount(of, lengths[flat[row]])
    return float(np.abs(area[length > 0.0] / length[length > 0.0]).max())
