"""A rehearsal as the supply's own readings would show it: means over the aperture, at every update.

Without errors: an evaluation adds those, as it does for the readings of a run. The timing is that of the
bench document; where it says nothing, values at an instant, as often as the procedure records.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from railwright.documents.bench import Bench
from railwright.documents.loader import Documents
from railwright.documents.output_name import OutputName
from railwright.measures.signal import integrals
from railwright.plan.contacts import contact_moves, contacts_of, kind_of, subjects_of
from railwright.plan.linking import look_interval
from railwright.plan.set_points import Feed, SetPoints
from railwright.plan.stairs import exchange_of
from railwright.plan.timeline import Timeline
from railwright.records.readings import MultimeterReadings
from railwright.traces import Event, EventKind, Facts, Mode, Record, Traces, enters, rows_at

if TYPE_CHECKING:
    from railwright.rehearsal.rehearse import Shares
    from railwright.traces import Array

READINGS = "supply readings"
"""Origin of a record of readings."""

MOST_READINGS = 2_000_000
"""Readings of an input that are made of a rehearsal; where a procedure lasts for weeks, they are further
apart.
"""


class Phase(NamedTuple):
    """When the first reading is asked for, and made, after the record's beginning: shares of the time between
    two questions, and between two updates of the supply. apart: share of an update by which each output of a
    group makes its readings later than the one before it, where what each has is known.
    """

    asked: float = 0.0
    updated: float = 0.0
    apart: float = 0.0


IN_PHASE = Phase()

NOT_APART: Shares = {}
"""The outputs of each group read as one."""

ReadingTimes = tuple[float, float]
"""Update and aperture [s]."""

AS_DECLARED: Mapping[str, ReadingTimes] = {}
"""Readings are made as the bench has it."""


def reading_times(bench: Bench, names: Sequence[OutputName]) -> ReadingTimes:
    """The longest update and the longest aperture of several outputs' readings; unknown: 0."""
    readings = [each for name in names if (each := bench.output(name).reading) is not None]
    update = max((each.update or 0.0 for each in readings), default=0.0)
    return update, max((each.aperture or 0.0 for each in readings), default=0.0)


# Many: a rehearsal with what it was made of, and how it is read.
def as_read(
    record: Record,
    documents: Documents,
    set_points: SetPoints,
    timeline: Timeline,
    every: Mapping[str, float],
    phase: Phase = IN_PHASE,
    shares: Shares = NOT_APART,
    instead: Mapping[str, ReadingTimes] = AS_DECLARED,
) -> Record:
    """The record that a run would make of a rehearsed one, were every figure at its nominal value.

    every [s]: of each input the time between two readings of the host. phase: where these lie in the record.
    shares: what each output of a group has, which then reads it at a time of its own. instead: of an input
    another update and aperture than the bench has [s]. Each input has `current`, and `voltage` where it is
    sensed at the load, `terminal_voltage` where not; modes are those of the instant. What the status shows of
    trips and modes has the bounds of the host's questions for it.
    """
    bench = documents.bench
    traces = {
        name: _read(
            traces, bench, set_points[name], (every[name], instead.get(name)), phase, shares.get(name)
        )
        for name, traces in record.traces.items()
        if name in set_points and traces.time.size > 1
    }
    seen, gap = [*_events(timeline, documents, set_points)], 0.0
    for name in traces:
        look, answer = look_interval(every[name]), exchange_of(set_points[name].names, bench)
        gap = max(gap, look + answer)
        seen += _status_events(record, set_points[name], (look, answer), phase)
    spans = tuple(replace(span, status_gap=gap) for span in record.spans)
    return Record(READINGS, traces, tuple(sorted(seen, key=lambda event: event.time)), spans)


def multimeters_read(
    documents: Documents, record: Record, phase: Phase = IN_PHASE
) -> dict[str, MultimeterReadings]:
    """What the multimeters of a procedure would read of a rehearsed record, without errors: means over the
    aperture, at their interval, told as soon as they are there; NaN where they lie beyond the range.
    """
    found = {}
    for name, probe in documents.procedure.multimeters.items():
        traces, meter = record.traces.get(probe.of), documents.bench.multimeters[name]
        if traces is None or traces.time.size < 2:
            continue
        column = "terminal_voltage" if probe.at == "terminals" else "voltage"
        values = traces.columns["current" if meter.quantity == "current" else column]
        first, last = float(traces.time[0]), float(traces.time[-1])
        step = max(meter.interval, (last - first) / MOST_READINGS)
        ends = np.arange(first + phase.updated * step, last, step)
        means = _means(traces.time, values, ends, meter.aperture)
        means = np.where(np.abs(means) <= meter.measures.range, means, np.nan)
        found[name] = MultimeterReadings(ends, means, np.full(ends.size, meter.aperture))
    return found


def _status_events(record: Record, feed: Feed, times: tuple[float, float], phase: Phase) -> Iterator[Event]:
    """Trips and changes of mode of an input as its status shows them. times: between two questions for it,
    and until it is answered [s].
    """
    traces, (look, answer) = record.traces[feed.input], times
    began, last = float(traces.time[0]), float(traces.time[-1])
    step = max(look, (last - began) / MOST_READINGS)
    first = began + phase.asked * step

    def shown(kind: EventKind, number: int) -> Event:
        """An event that the question of this number shows first."""
        asked = first + number * step
        return Event(asked, feed.input, kind, Facts(within=(max(began, asked - step), asked + answer)))

    subjects = {feed.input, *feed.names}
    trip = next((e for e in record.events if e.subject in subjects and e.kind.trip), None)
    if trip is not None:
        yield shown(trip.kind, math.ceil((trip.time - first) / step))
    if "mode" not in traces.columns:
        return
    asked = np.arange(first, last, step)
    rows = rows_at(traces.time, asked)
    modes = traces.columns["mode"][rows]
    for number in np.flatnonzero(np.diff(modes, prepend=-1.0)).tolist():
        mode = Mode(int(modes[number]))
        if mode in (Mode.CV, Mode.CC, Mode.CP):
            yield shown(enters(mode), number)


def _events(timeline: Timeline, documents: Documents, set_points: SetPoints) -> Iterator[Event]:
    """What the host itself does, as a run writes it down: a contact moves as it is told to."""
    for action in timeline.actions:
        if action.kind != "line":
            yield Event(action.time, action.input, EventKind(action.kind))
    for moved in contact_moves(contacts_of(documents, set_points), timeline):
        told = moved.time - moved.lies.contact.takes(moved.closed)
        for subject in subjects_of(moved.lies, documents.device):
            yield Event(told, subject, kind_of(moved.lies, moved.closed))


def _read(
    traces: Traces,
    bench: Bench,
    feed: Feed,
    times: tuple[float, ReadingTimes | None],
    phase: Phase,
    shares: Mapping[str, tuple[Array, Array]] | None,
) -> Traces:
    """times: between two questions [s], and of the readings where they are not made as declared."""
    (every, instead), first, last = times, float(traces.time[0]), float(traces.time[-1])
    step = max(every, 1e-4, (last - first) / MOST_READINGS)
    # A run reads before its first step, too, and knows by that how the step begins.
    reach = sum(instead or reading_times(bench, feed.names))
    before = math.ceil(reach / step) + 1
    polls = np.arange(first + (phase.asked - before) * step, last, step)
    where = "voltage" if feed.sense == "at load" else "terminal_voltage"
    series = feed.arrangement == "series"
    if shares is None:
        parts = [(traces.columns[where], traces.columns["current"])]
        timings = [instead or reading_times(bench, feed.names)]
    else:
        # Sense leads of a group are at its ends: in series each output is without its share of the drop.
        drop = traces.columns["terminal_voltage"] - traces.columns[where]
        own = drop / (len(feed.outputs) if series else 1)
        parts = [(volts - own, amperes) for volts, amperes in (shares[name] for name in feed.names)]
        timings = [instead or reading_times(bench, [name]) for name in feed.names]
    voltages, currents = [], []
    for number, ((volts, amperes), (update, aperture)) in enumerate(zip(parts, timings, strict=True)):
        ends = polls
        if update > 0.0:
            made = first + (phase.updated + number * phase.apart) % 1.0 * update
            ends = made + np.floor((polls - made) / update + 1e-9) * update
        voltages.append(_means(traces.time, volts, ends, aperture))
        currents.append(_means(traces.time, amperes, ends, aperture))
    # As a run puts them together.
    columns = {
        where: np.sum(voltages, axis=0) / (1 if series else len(parts)),
        "current": np.sum(currents, axis=0) / (len(parts) if series else 1),
    }
    if "mode" in traces.columns:
        columns["mode"] = traces.columns["mode"][rows_at(traces.time, polls)]
    return Traces(polls, columns)


def _means(time: Array, values: Array, ends: Array, aperture: float) -> Array:
    """Means over an aperture before each end, shape (n,), of a trace of straight lines; its value where the
    aperture is 0. What lies before the trace counts as its first value.
    """
    if aperture <= 0.0:
        return np.asarray(np.interp(ends, time, values))
    return integrals(time, values, ends - aperture, ends) / aperture
