"""Whether a step was played as the procedure has it: to its end, and in time."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from itertools import pairwise

from railwright.documents.procedure import Procedure
from railwright.evaluation.ending import Ending
from railwright.measures import Measure
from railwright.measures.outcome import Measured
from railwright.plan.timeline import Timeline
from railwright.quantities import show
from railwright.traces import EventKind, Record, Span, span_named

LATE_PART = 0.1
"""A set point may come late by this part of the step's shortest segment: the usual tolerance of durations."""

LATE_LEAST = 2e-3
"""What counts as in time in any case [s]: messages to a supply take about as long to take effect."""

ROUNDING = 1e-9
"""Times of the plan closer to each other are one [s]."""


def unfinished(step: str, run: Record, ending: Ending) -> str:
    """Why a step was not played to its end, in words; empty where it was, or where nobody knows of it."""
    span = span_named(run.spans, step)
    ended = ending.early or ending.by_trip
    because = f": {ended}" if ended else ""
    if span is None:
        return f"the step '{step}' was not reached{because}" if ended else ""
    return "" if span.whole else f"the step '{step}' was not played to its end{because}"


def needed(step: str, run: Record, ending: Ending) -> bool:
    """Whether a step is to be played: not one that a required trip, which ended the run, came before."""
    return not ending.expected_trip or span_named(run.spans, step) is not None


def judged_up_to_trip(measure: Measure) -> bool:
    """Whether a measure is judged in a step that a required trip cuts short, up to the trip: what the supply
    does, and peaks, to which nothing is added once the input is off.
    """
    own = measure.trip is not None or measure.of_supply
    return own or (measure.momentary and measure.only_grows)


def settled_already(measure: Measure, measured: Measured | None, upper: float | None) -> bool:
    """Whether a failure in a step that was cut short stands: nothing later could have mended it. measured:
    None: it has gone beyond every bound.
    """
    if measure.trip == "time":
        return True  # by the wrong protection, or too early; or it has not come in time
    beyond = upper is not None and (measured is None or measured.value > upper)
    return measure.only_grows and beyond


def out_of_time(span: Span, timeline: Timeline, run: Record) -> str:
    """Why a step does not count as played in time, in words; empty where it does."""
    predicted = run.origin == "rehearsal"
    if span.left_out:
        points = f"{span.left_out} set point{'s' if span.left_out > 1 else ''}"
        if predicted:
            return f"the host would leave out {points} of the step '{span.name}'"
        were = "were" if span.left_out > 1 else "was"
        return f"{points} of the step '{span.name}' {were} left out: the host did not keep up"
    segment = shortest_segment(span, timeline, run)
    bound = allowed_lateness(segment)
    if span.late <= bound:
        return ""
    tenth = f", a tenth of its shortest segment of {show(segment, 's')}" if bound > LATE_LEAST else ""
    was, came = ("would be", "would come") if predicted else ("was", "came")
    return (
        f"the step '{span.name}' {was} played late: a set point {came} {show(span.late, 's')} after its "
        f"time, allowed are {show(bound, 's')}{tenth}"
    )


def left_open(procedure: Procedure, timeline: Timeline, run: Record) -> Iterator[str]:
    """The steps of a record that do not count as played in time, each with the requirements that this leaves
    open, in words; those on which nothing hangs are left out.
    """
    for span in run.spans:
        own = [f"'{each.name}'" for each in procedure.requires if each.during == span.name]
        if own and (late := out_of_time(span, timeline, run)):
            yield f"{late}; this leaves {' and '.join(own)} open"


def allowed_lateness(segment: float) -> float:
    """How late a set point may come of a step with this shortest segment [s]."""
    return max(LATE_LEAST, LATE_PART * segment)


def shortest_segment(span: Span, timeline: Timeline, run: Record) -> float:
    """Shortest time between two set points of one input in a step, and from the last to its end [s].

    An input whose outputs play a point list of their own times nothing but the start of it: its segment is
    the step.
    """
    planned = span_named(timeline.spans, span.name) or span
    listed = {
        event.subject
        for event in run.events
        if event.kind is EventKind.POINT_LIST_STARTS and span.start - LATE_LEAST <= event.time <= span.end
    }
    return least_segment(planned, timeline, listed)


def least_segment(planned: Span, timeline: Timeline, listed: Collection[str]) -> float:
    """The same of a step of the plan. listed: inputs that point lists play in it."""
    return min([planned.end - planned.start, *_segments(planned, timeline, listed)])


def _segments(planned: Span, timeline: Timeline, listed: Collection[str]) -> Iterator[float]:
    """Times between two set points of one input within a step, and from its last to the end [s]."""
    moved = [(each.input, each.time) for each in timeline.actions]
    moved += [(each.input, each.time) for each in timeline.limits]
    for name in planned.inputs:
        if name in listed:
            continue
        times = {time for of, time in moved if of == name and planned.start <= time < planned.end}
        ordered = [*sorted(times), planned.end]
        yield from (after - before for before, after in pairwise(ordered) if after - before > ROUNDING)
