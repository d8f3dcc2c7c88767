"""What a record tells of the state of an input's outputs: its trips, and what regulates them, with the
bounds of each instant.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from railwright.documents.bench import Bench
from railwright.documents.loader import Documents
from railwright.evaluation.hiding_bounds import limits_of
from railwright.evaluation.played import ROUNDING
from railwright.measures.status import ModeChange, SupplyStatus, Trip
from railwright.plan.current_limits import limit_actions
from railwright.plan.required_trip import own_trips
from railwright.plan.set_points import Feed, SetPoints
from railwright.plan.timeline import Timeline
from railwright.traces import EventKind, Mode, Record, Span, Traces, span_named

SWITCHED_OFF = (EventKind.OFF, EventKind.OFF_SENT, EventKind.TRIPS_LINKED)
"""Events after which an input's outputs are off without a trip of their own."""


# Many: the documents and their timeline, a record and its set points, and where in it to look.
def supply_status(
    documents: Documents,
    timeline: Timeline,
    set_points: SetPoints,
    name: str,
    span: Span,
    record: Record,
    *,
    exact: bool,
) -> SupplyStatus:
    """The status of the outputs that feed an input, over the whole record, and what bounds it in a step.

    exact: the record is a rehearsal's, or the truth.
    """
    feed, traces = set_points[name], record.traces.get(name)
    trips = []
    for event in (each.event for each in own_trips(documents.procedure, record.events) if each.input == name):
        # A record that does not tell the bounds: it was found with a reading, whenever it happened.
        found = (-math.inf, event.time + documents.procedure.record.every)
        within = (event.time, event.time) if exact else event.facts.within or found
        trips.append(Trip(event.kind.trip, *within))
    went_off = [e.time for e in record.events if e.kind is EventKind.WENT_OFF and e.subject == name]
    least_limit, power = _bounds(documents.bench, timeline, set_points, name, span)
    return SupplyStatus(
        tuple(sorted(trips, key=lambda trip: trip.latest)),
        tuple(went_off),
        _modes(name, record, traces, exact=exact),
        0.0 if exact else _gap(span, traces),
        _arrived(timeline, span),
        _delays(documents.bench, feed),
        least_limit=least_limit,
        power=power,
    )


def _modes(name: str, record: Record, traces: Traces | None, *, exact: bool) -> tuple[ModeChange, ...] | None:
    """What regulates an input from when on; None: the supply does not tell."""
    if traces is None or "mode" not in traces.columns:
        return None
    if exact:
        return tuple(_changes(traces))
    if any(event.kind is EventKind.EVENTS_LEFT_OUT for event in record.events):
        return None
    told = (
        (Mode.OFF if each.kind in SWITCHED_OFF or each.kind.trip else each.kind.mode, each)
        for each in record.events
        if each.subject == name
    )
    return tuple(
        ModeChange(mode, *(event.facts.within or (event.time, event.time)))
        for mode, event in told
        if mode is not None
    )


def _changes(traces: Traces) -> Iterator[ModeChange]:
    """The changes of mode of a computed trace."""
    modes = traces.columns["mode"]
    firsts = np.flatnonzero(np.diff(modes, prepend=-1.0))
    for row in firsts.tolist():
        time = float(traces.time[row])
        yield ModeChange(Mode(int(modes[row])), time, time)


def _gap(span: Span, traces: Traces | None) -> float:
    """Longest time in a step for which the status was not known [s]: as the run recorded it, else between two
    readings.
    """
    if span.status_gap or traces is None:
        return span.status_gap or math.inf
    inside = traces.between(span.start, span.end).time
    return float(np.max(np.diff(inside, prepend=span.start, append=span.end)))


def _arrived(timeline: Timeline, span: Span) -> tuple[float, float]:
    """When the last set point or limit before a step, and the last one before its end, was reached, of any
    input [s, the record's time].
    """
    planned = span_named(timeline.spans, span.name) or span
    reached = [(each.time, each.time + each.over) for each in timeline.actions]
    reached += [(each.time, each.time) for each in timeline.limits]
    later = span.start - planned.start
    before, within = (
        max((there for begins, there in reached if begins < edge - ROUNDING), default=-math.inf) + later
        for edge in (planned.start, planned.end)
    )
    return before, within


def _delays(bench: Bench, feed: Feed) -> dict[str, float]:
    """Protection -> how long after a set point was reached it may act though no mode shows it [s]: until the
    output has followed, and for its delay or response, as far as they are known. Of outputs in parallel one
    may stand in its limit, and beyond its OCP, for as long as another holds the voltage.
    """
    outputs = [(points, bench.output(points.output)) for points in feed.outputs]
    rise = max(output.rise or 0.0 for _, output in outputs)
    hidden = math.inf if feed.arrangement == "parallel" else 0.0
    return {
        "current limit": rise + hidden,
        "OCP": rise + hidden + max(points.ocp_delay for points, _ in outputs),
        "OVP": rise + max((output.ovp.response if output.ovp else None) or 0.0 for _, output in outputs),
        "OPP": rise + max((output.opp.response if output.opp else None) or 0.0 for _, output in outputs),
    }


def _bounds(
    bench: Bench, timeline: Timeline, set_points: SetPoints, name: str, span: Span
) -> tuple[float | None, float | None]:
    """The lowest current that a limit may hold up to the end of a step [A], and the least power that an
    output gives [W]; None: its error is unknown, or no power of its own is given. Outputs in parallel hold
    no voltage only where all are in their limit.
    """
    feed = set_points[name]
    outputs = [bench.output(points.output) for points in feed.outputs]
    planned = span_named(timeline.spans, span.name)
    end = planned.end if planned else -math.inf
    least = {points.output: points.current_limit for points in feed.outputs}
    for change in limit_actions(bench, set_points, timeline):
        if change.input == name and change.time < end:
            least[change.output] = min(least[change.output], change.current)
    power = min((output.power for output in outputs if output.power is not None), default=None)
    if any(output.programming is None for output in outputs):
        return None, power
    errors = (error for _, error in limits_of(feed, outputs))
    holds = [limit - error for limit, error in zip(least.values(), errors, strict=True)]
    return (sum(holds) if feed.arrangement == "parallel" else min(holds)), power
