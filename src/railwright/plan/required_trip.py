"""The trip that a procedure requires and that ends it: which of the trips of a record it is."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from railwright.documents.procedure import Procedure
from railwright.traces import Event, EventKind, Span


class InputTrip(NamedTuple):
    """A trip of one of an input's outputs by itself."""

    input: str
    event: Event

    @property
    def words(self) -> str:
        return f"{self.input} tripped: {self.event.kind.trip}"


def own_trips(procedure: Procedure, events: Iterable[Event]) -> list[InputTrip]:
    """Trips of inputs by themselves, in order of time: not those that follow another one. A run tells them by
    their input, a rehearsal by their output.
    """
    inputs = {name: name for name in procedure.hook_up}
    inputs |= {str(output): name for name, each in procedure.hook_up.items() for output in each.outputs}
    found = [
        InputTrip(inputs[event.subject], event)
        for event in events
        if event.kind.trip and event.kind is not EventKind.TRIPS_LINKED and event.subject in inputs
    ]
    return sorted(found, key=lambda trip: trip.event.time)


def ended_by(procedure: Procedure, spans: Sequence[Span], events: Iterable[Event]) -> InputTrip | None:
    """The required trip that cut a record short in its last step; None: it was not cut, or by something
    else.
    """
    if not spans or spans[-1].whole:
        return None
    step = spans[-1].name
    return next((trip for trip in own_trips(procedure, events) if _required(procedure, trip, step)), None)


def ends(
    procedure: Procedure, spans: Sequence[Span], events: Iterable[Event]
) -> tuple[InputTrip, int] | None:
    """The first trip of what was played without regard to trips, and the position of its step, where the
    procedure requires it there; None: nothing trips, or something that is not required trips first.
    """
    for trip in own_trips(procedure, events)[:1]:
        for position, span in enumerate(spans):
            ends_here = trip.event.time < span.end or span is spans[-1]
            if span.start <= trip.event.time <= span.end and ends_here:
                return (trip, position) if _required(procedure, trip, span.name) else None
    return None


def not_required(procedure: Procedure, spans: Sequence[Span], events: Iterable[Event]) -> tuple[Event, ...]:
    """Trips that nobody asked for: all of them, or, where a required trip ended the record, those that are
    neither required in its last step nor follow from that trip.
    """
    trips = tuple(event for event in events if event.kind.trip)
    if ended_by(procedure, spans, trips) is None:
        return trips
    step = spans[-1].name
    return tuple(each.event for each in own_trips(procedure, trips) if not _required(procedure, each, step))


def _required(procedure: Procedure, trip: InputTrip, step: str) -> bool:
    return procedure.expects_trip(trip.input, step, trip.event.kind.trip)
