"""How far what was played lies from what was asked: largest and r.m.s. deviation, and edge by edge.

Terms are those of IEEE 181: transition duration, overshoot, state level (the text was not at hand).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from railwright.traces import integral_of_product
from railwright.waveforms.waveform import Waveform

Array = NDArray[np.float64]

LOW, HIGH = 0.1, 0.9
"""Reference levels of a transition, in parts of it (IEEE 181)."""

FULL_LINE = HIGH - LOW
"""Transition duration of a straight line, in parts of its whole length."""

NOTHING = 0.02
"""A change of less than this part of what was asked counts as none."""


@dataclass(frozen=True, slots=True)
class Asked:
    """An edge that is asked for: at `time` [s] from `start` to `goal` [V], in a line of `over` [s] (0: at
    once), which then stays until `until` [s].
    """

    time: float
    start: float
    goal: float
    over: float
    until: float


@dataclass(frozen=True, slots=True)
class Edge:
    """What became of an edge.

    duration: 10 to 90 % of the way from where it was to what was asked [s]; None: it did not get to 90 %.
    late: from the asked edge's middle to the played one's, 50 % each [s]; None: it did not get there.
    overshoot: beyond what was asked, in parts of the asked change; 0: none. error: voltage at the end of the
    stay less what was asked [V].
    """

    asked: Asked
    duration: float | None
    late: float | None
    overshoot: float
    error: float

    @property
    def asked_duration(self) -> float:
        """Transition duration that was asked for, 10 to 90 % [s]."""
        return FULL_LINE * self.asked.over


@dataclass(frozen=True, slots=True)
class Deviation:
    """largest: of played less asked, by amount [V], at `at` [s]. rms: over the whole time [V]."""

    largest: float
    at: float
    rms: float


def deviation(
    asked: Waveform, time: Array, voltage: Array, away: Sequence[tuple[float, float]] = ()
) -> Deviation:
    """How far a trace (both of shape (n,), on the waveform's clock [s], [V]) lies from a waveform.

    away: stretches of time in which nothing is asked (the output is off). Exact for straight lines between
    the rows of either. ValueError where the trace has no row.
    """
    if not time.size:
        raise ValueError("expected a trace with rows, got none")
    rows, difference = deviations(asked, time, voltage)
    for start, end in away:
        difference[(rows >= start) & (rows <= end)] = 0.0
    at = int(np.argmax(np.abs(difference)))
    length = float(rows[-1])
    square = integral_of_product(rows, difference, difference)
    rms = math.sqrt(max(square, 0.0) / length) if length > 0.0 else abs(float(difference[-1]))
    return Deviation(float(difference[at]), float(rows[at]), rms)


def deviations(asked: Waveform, time: Array, voltage: Array) -> tuple[Array, Array]:
    """A trace (n,) less a waveform at the rows of both within the waveform: times [s] and differences [V].

    Where the waveform jumps there are rows before and after; a jump at its very end is left out.
    """
    inside = (time > 0.0) & (time < asked.duration)
    last = int(np.searchsorted(asked.time, asked.duration, side="left"))
    rows = np.concatenate((asked.time[: last + 1], time[inside]))
    wanted = np.concatenate((asked.value[: last + 1], asked.at(time[inside])))
    order = np.argsort(rows, kind="stable")
    rows, wanted = rows[order], wanted[order]
    return rows, np.interp(rows, time, voltage) - wanted


def edge(asked: Asked, time: Array, voltage: Array) -> Edge:
    """What became of an asked edge in a trace (both of shape (n,), [s], [V], in order of time).

    The way begins at the voltage where the trace really is when the edge is asked for, as IEEE 181 takes the
    states of the waveform itself, and ends at what is asked: a trace that does not get there has no duration.
    """
    first = int(np.searchsorted(time, asked.time, side="right"))
    last = int(np.searchsorted(time, asked.until, side="left"))
    ends = np.interp([asked.time, asked.until], time, voltage)
    t = np.concatenate(([asked.time], time[first:last], [asked.until]))
    v = np.concatenate((ends[:1], voltage[first:last], ends[1:]))
    change, way = asked.goal - asked.start, asked.goal - float(v[0])
    error = float(v[-1]) - asked.goal
    beyond = float((v * np.sign(change)).max()) - asked.goal * math.copysign(1.0, change)
    overshoot = max(0.0, beyond) / abs(change)
    if abs(way) < NOTHING * abs(change):
        return Edge(asked, None, None, overshoot, error)
    progress = (v - v[0]) / way
    high = _reached(t, progress, HIGH)
    low = _left(t, progress, LOW, high)
    middle = _reached(t, progress, 0.5)
    late = None if middle is None else middle - (asked.time + 0.5 * asked.over)
    duration = None if high is None or low is None else high - low
    return Edge(asked, duration, late, overshoot, error)


def _reached(time: Array, progress: Array, level: float) -> float | None:
    """When a level is first reached; None: never."""
    above = np.flatnonzero(progress >= level)
    if not above.size:
        return None
    return _crossing(time, progress, int(above[0]), level)


def _left(time: Array, progress: Array, level: float, before: float | None) -> float | None:
    """When a level is last passed upwards before an instant."""
    if before is None:
        return None
    end = int(np.searchsorted(time, before, side="right"))
    below = np.flatnonzero(progress[:end] <= level)
    return _crossing(time, progress, int(below[-1]) + 1, level) if below.size else None


def _crossing(time: Array, progress: Array, at: int, level: float) -> float:
    """Where the line from the row before `at` to it passes a level [s]."""
    if at == 0:
        return float(time[0])
    rise = float(progress[at] - progress[at - 1])
    part = (level - float(progress[at - 1])) / rise if rise else 1.0
    return float(time[at - 1] + part * (time[at] - time[at - 1]))
