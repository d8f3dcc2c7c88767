"""Steps and events as the files of a finished run have them, and whether all of its readings are there."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from railwright.records.names import readings_file
from railwright.traces import HOW_PLAYED, Event, Span


def span_data(span: Span) -> dict[str, Any]:
    """A step as `run.json` has it."""
    return {
        "name": span.name,
        "kind": span.kind,
        "start": span.start,
        "end": span.end,
        "inputs": list(span.inputs),
        "points": [list(point) for point in span.points],
        **{key: getattr(span, key) for key in HOW_PLAYED},
    }


def event_data(event: Event) -> dict[str, Any]:
    """An event as `events.json` has it."""
    return {"time": event.time, "subject": event.subject, "what": event.what, "detail": event.detail}


def spans_of(data: Sequence[Mapping[str, Any]], completed: bool) -> tuple[Span, ...]:
    """Spans from `run.json`.

    completed: the whole procedure was played. Of a run that was not, by a version that did not yet say which
    steps were played to their end, the last is taken not to have been.
    """
    return tuple(
        Span(
            str(entry["name"]),
            str(entry["kind"]),
            float(entry["start"]),
            float(entry["end"]),
            tuple(entry["inputs"]),
            tuple((float(v), float(a), float(b)) for v, a, b in entry["points"]),
            whole=bool(entry.get("whole", completed or entry is not data[-1])),
            late=float(entry.get("late", 0.0)),
            left_out=int(entry.get("left_out", 0)),
            time_error=float(entry.get("time_error", 0.0)),
        )
        for entry in data
    )


def events_of(data: Iterable[Mapping[str, Any]]) -> tuple[Event, ...]:
    """Events from `events.json`."""
    return tuple(Event(float(e["time"]), str(e["subject"]), str(e["what"]), str(e["detail"])) for e in data)


def missing_rows(taken: Mapping[str, int], kept: Mapping[str, int]) -> list[str]:
    """One line for each input of which other than the readings that were taken are kept."""
    return [
        f"{readings_file(Path(), name)}: holds {kept.get(name, 0)} readings, the run took {count}"
        for name, count in taken.items()
        if kept.get(name, 0) != count
    ]
