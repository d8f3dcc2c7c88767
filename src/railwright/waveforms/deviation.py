"""How far what was played lies from what was asked: largest and r.m.s. deviation, and edge by edge.

References
----------
.. [1] IEEE Std 181-2011, 5.2 and 5.3 (from memory): the levels of both states are taken from the waveform
   itself; reference levels, transition duration and overshoot are in percent of the amplitude between them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from railwright.traces import crossing, integral_of_product
from railwright.waveforms.waveform import Array, Waveform

LOW, MIDDLE, HIGH = 0.1, 0.5, 0.9
"""Reference levels of a transition, in parts of its amplitude (IEEE 181)."""

FULL_LINE = HIGH - LOW
"""Transition duration of a straight line, in parts of its whole length."""

NOTHING = 0.02
"""A change of less than this part of what was asked counts as none."""

SETTLED = 0.0025
"""A level is settled while the voltage stays within this part of the amplitude of it (chosen)."""

OF_STAY, OF_DURATION = 0.1, 0.25
"""Parts of the stay and of the transition's duration for which a settled level has been there (chosen): that
of an exponential is then within 0.4 % of where it goes.
"""


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
    """What became of an edge, by the two state levels of the played voltage itself [1]_.

    before, after: where the voltage stands as the edge begins, and at the end of the stay [V]. settled: it
    has come to rest at the level after it. reached: that level lies within a tenth of the asked change of
    what was asked, or beyond it, or the voltage has changed by nine tenths of the asked change.
    duration: 10 to 90 % of the amplitude [s]. late: from the asked edge's middle to the played one's, 50 %
    each [s]. overshoot: beyond the level after it, within the stay, in parts of the amplitude; 0: none. All
    three are None where the edge was not `reached`, and where there was none: it was at that level already.
    error: voltage at the end of the stay less what was asked [V].
    """

    asked: Asked
    before: float
    after: float
    settled: bool
    reached: bool
    duration: float | None
    late: float | None
    overshoot: float | None

    @property
    def error(self) -> float:
        return self.after - self.asked.goal

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


def edge(asked: Asked, time: Array, voltage: Array, early: float = 0.0) -> Edge:
    """What became of an asked edge in a trace without noise (both of shape (n,), [s], [V], in order of time).

    early: so long before its time an edge may be played [s]: the states before and after it end by so much
    earlier. The level after it is settled if the voltage has been there for `OF_STAY` of the stay and
    `OF_DURATION` of the transition's duration.
    """
    stay = asked.until - asked.time - asked.over
    opens, closes = asked.time - early, asked.until - min(early, 0.5 * stay)
    t, v = _between(time, voltage, opens, closes)
    before, after = float(v[0]), float(v[-1])
    change, amplitude = asked.goal - asked.start, after - before
    sign = math.copysign(1.0, change)
    reached = sign * (asked.goal - after) <= (1.0 - HIGH) * abs(change) or sign * amplitude >= HIGH * abs(
        change
    )
    if not reached or sign * amplitude < NOTHING * abs(change):
        at_rest = _at_rest(t, v, closes - OF_STAY * stay, abs(change))
        return Edge(asked, before, after, at_rest, reached, None, None, None)
    progress = (v - before) / amplitude
    high = _reached(t, progress, HIGH)
    duration = high - _left(t, progress, LOW, high)
    late = _left(t, progress, MIDDLE, high) - (asked.time + 0.5 * asked.over)
    at_rest = _at_rest(t, v, closes - max(OF_STAY * stay, OF_DURATION * duration), abs(amplitude))
    return Edge(asked, before, after, at_rest, reached, duration, late, float(progress.max()) - 1.0)


def _between(time: Array, voltage: Array, start: float, end: float) -> tuple[Array, Array]:
    """A trace from start to end [s], with values at both."""
    first = int(np.searchsorted(time, start, side="right"))
    last = int(np.searchsorted(time, end, side="left"))
    ends = np.interp([start, end], time, voltage)
    return (
        np.concatenate(([start], time[first:last], [end])),
        np.concatenate((ends[:1], voltage[first:last], ends[1:])),
    )


def _at_rest(time: Array, voltage: Array, since: float, amplitude: float) -> bool:
    """Whether a trace stays, from an instant on, where it is at its end."""
    _, v = _between(time, voltage, since, float(time[-1]))
    return bool(np.abs(v - voltage[-1]).max() <= SETTLED * amplitude)


def _reached(time: Array, progress: Array, level: float) -> float:
    """When a level is first reached: it is."""
    return crossing(time, progress, int(np.argmax(progress >= level)), level)


def _left(time: Array, progress: Array, level: float, before: float) -> float:
    """When a level is last passed upwards before an instant: it is."""
    end = int(np.searchsorted(time, before, side="right"))
    below = np.flatnonzero(progress[:end] <= level)
    return crossing(time, progress, int(below[-1]) + 1, level)
