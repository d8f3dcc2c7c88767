"""Loads that start, pull their input down, stop, and start again, as a rehearsal has it."""

from __future__ import annotations

from collections.abc import Iterable

from railwright.traces import EventKind, Record

MANY_STARTS = 3
"""Starts in one step from which on a load is taken to restart for ever: no step but a shape asks for more."""


def endless_restarts(record: Record, subjects: Iterable[str]) -> dict[str, int]:
    """Steps in which a load restarts for ever, and how often it starts there; shapes may ask for it.

    subjects: an input, and its outputs.
    """
    own = {str(subject) for subject in subjects}
    starts = [each.time for each in record.events if each.kind is EventKind.STARTS and each.subject in own]
    counts = {
        span.name: sum(span.start <= time <= span.end for time in starts)
        for span in record.spans
        if span.kind != "shape"
    }
    return {name: count for name, count in counts.items() if count >= MANY_STARTS}
