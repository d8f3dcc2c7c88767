"""Whether two records of one quantity contradict each other: they differ by more than both may be off.

Both may be right as long as every value of the one can stand beside some value of the other: a reading is
a mean over an aperture that ended within an update interval, samples see nothing between them, and clocks
differ within a bound. So the range of a few values in a row is held against the range of all that the other
record shows at any instant that they may speak of, each widened by the bounds of its errors. Ranges that do
not meet contradict each other, whatever the true course was. What is shorter than three values of the slower
record can have fallen between those of the other, and is none; but for an instrument that gives one and the
same value again and again, where a single one of them suffices: what falls between two values moves one.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from railwright.evaluation.outcome import Contradiction
from railwright.evaluation.views import EXACT, Case, RecordSource, energised, open_leads
from railwright.measures.hiding import MISSING
from railwright.measures.measure import Channel
from railwright.measures.outcome import CannotMeasure
from railwright.measures.signal import Array, Place, Signal, View
from railwright.measures.uncertainty import student_factor
from railwright.traces import VOLTAGES

QUANTITIES: tuple[Channel, ...] = ("voltage", "current")

FALSE_ALARM = 1e-3
"""Probability that noise alone makes two records contradict each other, and that a bound which is itself in
doubt was too small.
"""

FEWEST = 3
"""Values in a row that must contradict: an event that falls between two values of the other record reaches
into two at most.
"""


def contradictions(case: Case, sources: Sequence[RecordSource]) -> tuple[Contradiction, ...]:
    """Of each input and quantity the worst contradiction between every two of the records.

    sources: all on the run's time base. Compared is the time in which the input was switched on: an output
    that is off may be disconnected from what a recorder sees.
    """
    known = [source for source in sources if source.record.origin not in EXACT]
    found = (
        _between(case, first, second, name, quantity)
        for first, second in combinations(known, 2)
        for name in first.record.traces
        if name in second.record.traces
        for quantity in QUANTITIES
    )
    return tuple(each for each in found if each is not None)


def _between(
    case: Case, first: RecordSource, second: RecordSource, name: str, quantity: Channel
) -> Contradiction | None:
    """The worst contradiction between two records of an input's quantity; None: there is none."""
    try:
        # The first is the run's own, or one like the second: a voltage is compared where the second has it.
        place = place_of(second, name)
        opened = open_leads(case, name)
        one = shown_by(first, name, quantity, place, opened)
        other = shown_by(second, name, quantity, place, opened)
    except CannotMeasure:
        # What the documents do not say enough of cannot be compared.
        return None
    slower, faster = (one, other) if one.interval >= other.interval else (other, one)
    spans = tuple(energised(case, name))
    found = [each for on, off in spans for each in _disjoint(slower, faster, on, off)]
    found += [each for on, off in spans for each in _frozen(slower, faster, on, off)]
    found += [
        replace(each, slower=each.faster, faster=each.slower)
        for on, off in spans
        for each in _frozen(faster, slower, on, off, moved=True)
    ]
    if not found:
        return None
    worst = max(found, key=lambda each: each.apart)
    shown = {slower.source: worst.slower, faster.source: worst.faster}
    return Contradiction(
        name,
        quantity,
        (first.name, second.name),
        (shown[first.name], shown[second.name]),
        worst.bound,
        worst.at,
        min(each.at for each in found),
        max(each.at for each in found),
    )


@dataclass(frozen=True, slots=True, eq=False)
class RecordShown:
    """What a record shows of a quantity: values, the bounds of their errors, shapes (n,), and how far from
    its time a value's instant, or any part of its aperture, may lie [s]. interval: the usual one [s].
    """

    source: str
    time: Array
    values: Array
    error: Array
    reach: float
    interval: float


def place_of(source: RecordSource, name: str) -> Place:
    """The end of the lead at which a source has the voltage of an input."""
    return "connector" if VOLTAGES[0] in source.record.traces[name].columns else "terminals"


def shown_by(
    source: RecordSource,
    name: str,
    quantity: Channel,
    place: Place,
    opened: Sequence[tuple[float, float]],
) -> RecordShown:
    """What a source shows of an input, a voltage at this end of the lead. CannotMeasure where it does not, or
    its errors are not known. opened: when the lead stood open [s].
    """
    traces, model = source.record.traces[name], source.models.get(name)
    if model is None:
        raise CannotMeasure(f"the record holds nothing of '{name}'")
    view = View(traces, model, -math.inf, math.inf, at=place)
    signal = view.voltage() if quantity == "voltage" else view.current()
    if quantity == "voltage" and model.drop[1] > 0.0 and _carried(view):
        signal = _conducting(view, signal)
    if quantity == "voltage" and opened and _carried(view):
        signal = signal.take(np.flatnonzero(~_within(signal.time, opened, view)))
    if signal.time.size < FEWEST:
        raise CannotMeasure(f"the record holds {signal.time.size} values")
    reach = math.inf
    if model.update is not None:
        reach = view.timing()[2] / 2.0 + view.shift()[1]
    interval = float(np.median(np.diff(signal.time)))
    return RecordShown(source.name, signal.time, signal.values, largest_error(signal), reach, interval)


def _within(time: Array, spans: Sequence[tuple[float, float]], view: View) -> NDArray[np.bool_]:
    """Whether a value may be of one of these spans of time [s], or of an aperture that reaches into it."""
    around = math.inf
    if view.model.update is not None:
        around = view.timing()[2] + abs(view.shift()[0]) + view.shift()[1]
    inside = np.zeros(time.shape, dtype=np.bool_)
    for start, end in spans:
        inside |= (time >= start - around) & (time <= end + around)
    return inside


def _carried(view: View) -> bool:
    """Whether the voltage was measured at the lead's other end."""
    return VOLTAGES[view.at == "terminals"] not in view.traces.columns


def _conducting(view: View, voltage: Signal) -> Signal:
    """The voltage while the diode in the lead surely conducts: where it blocks, its ends are two things."""
    current = view.current()
    if current.time.size != voltage.time.size:
        raise CannotMeasure("voltage and current were not recorded together")
    return voltage.take(np.flatnonzero(current.values > largest_error(current)))


def largest_error(signal: Signal) -> Array:
    """By how much each value can be off: all bounds added up, and what noise does to the most distant one."""
    probability = 1.0 - FALSE_ALARM / 2.0
    error = np.zeros(signal.values.size)
    for each in signal.systematic:
        error += np.abs(each.shape) * student_factor(each.degrees, probability)
    farthest = NormalDist().inv_cdf(1.0 - FALSE_ALARM / 2.0 / signal.values.size)
    return error + farthest * signal.noise


@dataclass(frozen=True, slots=True)
class _Apart:
    """Where two records' ranges do not meet: when [s], by how much, what each shows, and the bound."""

    at: float
    apart: float
    slower: float
    faster: float
    bound: float


def _disjoint(slower: RecordShown, faster: RecordShown, on: float, off: float) -> Iterator[_Apart]:
    """Where some values in a row of the slower record lie beyond all that the faster one shows there."""
    time, other = slower.time, faster.time
    if not (math.isfinite(slower.reach) and math.isfinite(faster.reach)):
        # Nobody knows how old a reading is: it may be of any instant at which the input was on.
        rows, reach, around = np.array([time.size // 2]), float(time[-1] - time[0]), math.inf
    else:
        reach, around = slower.interval + faster.interval, slower.reach + faster.reach + faster.interval
        rows = np.arange(time.size)
    group = _window(time, time[rows] - reach, time[rows] + reach)
    begin, end = time[group[0]] - around, time[group[1] - 1] + around
    window = _window(other, begin, end)
    inside = (begin >= on) & (end <= off) & (begin >= other[0]) & (end <= other[-1])
    if math.isinf(around):
        inside = np.ones(rows.size, dtype=np.bool_)
    enough = (group[1] - group[0] >= FEWEST) & (window[1] - window[0] >= FEWEST)
    missing = _missing(other, window, faster.interval) & math.isfinite(around)
    chosen = np.flatnonzero(inside & enough & ~missing)
    if not chosen.size:
        return
    group, window = group[:, chosen], window[:, chosen]
    low, high = _extremes(slower, group)
    least, most = _extremes(faster, window)
    apart = np.maximum(low - most, least - high)
    for place in np.flatnonzero(apart > 0.0):
        own, theirs = slice(*group[:, place]), slice(*window[:, place])
        yield _Apart(
            float(time[rows[chosen[place]]]),
            float(apart[place]),
            float(np.median(slower.values[own])),
            float(np.median(faster.values[theirs])),
            float(np.max(slower.error[own]) + np.max(faster.error[theirs])),
        )


def _frozen(
    one: RecordShown, other: RecordShown, on: float, off: float, *, moved: bool = False
) -> Iterator[_Apart]:
    """Where one of some equal values in a row lies beyond all that the other record shows there, also where
    holes in its own record leave it alone. `slower` of what is found is this record. moved: only where others
    of those values lie within that, so that the other record moved while this one stayed: of a record that
    is the faster one, equal values alone can be an event that fell between those of the other.
    """
    if not (math.isfinite(one.reach) and math.isfinite(other.reach)):
        return
    turns = np.flatnonzero(np.diff(one.values, prepend=math.nan, append=math.nan) != 0.0)
    count = np.diff(turns)
    run = np.repeat(np.arange(count.size), count)
    same = count[run] >= FEWEST
    around = one.reach + other.reach + other.interval
    begin, end = one.time - around, one.time + around
    window = _window(other.time, begin, end)
    inside = (begin >= on) & (end <= off) & (begin >= other.time[0]) & (end <= other.time[-1])
    enough = window[1] - window[0] >= FEWEST
    chosen = np.flatnonzero(same & inside & enough & ~_missing(other.time, window, other.interval))
    if not chosen.size:
        return
    least, most = _extremes(other, window[:, chosen])
    values, error = one.values[chosen], one.error[chosen]
    apart = np.maximum(values - error - most, least - values - error)
    agreeing = np.isin(run[chosen], run[chosen[apart <= 0.0]])
    for place in np.flatnonzero((apart > 0.0) & (agreeing | (not moved))):
        theirs = slice(*window[:, chosen[place]])
        yield _Apart(
            float(one.time[chosen[place]]),
            float(apart[place]),
            float(values[place]),
            float(np.median(other.values[theirs])),
            float(error[place] + np.max(other.error[theirs])),
        )


def _window(time: Array, begin: Array, end: Array) -> NDArray[np.intp]:
    """First and one past the last index of the values between two times, shape (2, n)."""
    return np.stack((np.searchsorted(time, begin, "left"), np.searchsorted(time, end, "right")))


def _missing(time: Array, window: NDArray[np.intp], interval: float) -> NDArray[np.bool_]:
    """Whether values are missing in a window of a record, or next to it. Shape (n,)."""
    holes = np.concatenate(([0], np.cumsum(np.diff(time) > MISSING * interval)))
    first, last = np.maximum(window[0] - 1, 0), np.minimum(window[1], time.size - 1)
    found: NDArray[np.bool_] = holes[last] > holes[first]
    return found


def _extremes(shown: RecordShown, window: NDArray[np.intp]) -> tuple[Array, Array]:
    """The least and the most that any value of a window can stand for, shapes (n,)."""
    places = window.T.ravel()
    low = np.append(shown.values - shown.error, math.inf)
    high = np.append(shown.values + shown.error, -math.inf)
    return np.minimum.reduceat(low, places)[::2], np.maximum.reduceat(high, places)[::2]
