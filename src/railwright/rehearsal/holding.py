"""When a rehearsal ends a hold: when what ends it is predicted."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np

from railwright.documents.holding import HeldUntil
from railwright.plan.timeline import Held
from railwright.traces import Record, runs_of

if TYPE_CHECKING:
    from railwright.measures.signal import Array


class HoldEnd(NamedTuple):
    """How long a hold lasts [s], and how what ends it comes: in its time, at once, or never within it."""

    lasts: float
    comes: Literal["in time", "at once", "never"]


def hold_end(held: Held, record: Record, at_terminals: bool) -> HoldEnd:
    """When what ends a hold comes in a record in which it lasts as long as it may. at_terminals: where the
    voltage of its input is sensed.
    """
    most, until = held.end - held.begin, held.until
    if until.time is not None:
        return HoldEnd(min(most, until.time), "in time")
    traces = record.traces.get(held.of)
    traces = None if traces is None else traces.closed(held.begin, min(held.end, record.played_until))
    if traces is None or traces.time.size < 2:
        return HoldEnd(most, "never")
    volts = traces.columns["terminal_voltage" if at_terminals else "voltage"]
    if (bound := until.bound) is None:
        found = _gone_in(until, traces.time, volts, traces.columns["current"]) - held.begin
        return HoldEnd(found, "in time") if found <= most else HoldEnd(most, "never")
    beyond = (traces.columns["current"] if bound.quantity == "current" else volts) - bound.value
    beyond = beyond if bound.side == "above" else -beyond
    found = met_at(traces.time, beyond, until.duration) - held.begin
    if found > most:
        return HoldEnd(most, "never")
    at_once = bool((beyond[traces.time <= held.begin + found] > 0.0).all())
    return HoldEnd(found, "at once" if at_once else "in time")


FINER = 1000
"""In so many parts a row of a trace is looked at in which a total is reached: that is no straight line."""


def _gone_in(until: HeldUntil, time: Array, volts: Array, amperes: Array) -> float:
    """When the charge or the energy that ends a hold has gone in [s]; infinite: not in these rows."""
    most = until.charge or until.energy or 0.0
    total = _total(until, time, volts, amperes)
    if total[-1] < most:
        return math.inf
    last = max(1, int(np.argmax(total >= most)))
    parts = np.linspace(time[last - 1], time[last], FINER + 1)
    finer = _total(until, parts, np.interp(parts, time, volts), np.interp(parts, time, amperes))
    return float(np.interp(most - total[last - 1], finer, parts))


def _total(until: HeldUntil, time: Array, volts: Array, amperes: Array) -> Array:
    """Charge [C] or energy [J] that has gone in by each row, shape (n,), of straight lines between them."""
    steps, both = np.diff(time), amperes[:-1] + amperes[1:]
    if until.charge is not None:
        parts = 0.5 * both * steps
    else:
        # The product of two straight lines, by Simpson's rule: exact.
        middle = 0.25 * (volts[:-1] + volts[1:]) * both
        ends = volts[:-1] * amperes[:-1] + volts[1:] * amperes[1:]
        parts = (ends + 4.0 * middle) * steps / 6.0
    return np.concatenate(([0.0], np.cumsum(parts)))


def met_at(time: Array, beyond: Array, duration: float) -> float:
    """When a piecewise linear course, shape (n,), has been above zero for so long [s]; infinite: never."""
    for first, last in runs_of(beyond > 0.0):
        begin, end = float(time[first]), float(time[last - 1])
        if first > 0:
            begin = float(np.interp(0.0, beyond[first - 1 : first + 1], time[first - 1 : first + 1]))
        if last < time.size:
            end = float(np.interp(0.0, -beyond[last - 1 : last + 1], time[last - 1 : last + 1]))
        if end - begin >= duration:
            return begin + duration
    return math.inf
