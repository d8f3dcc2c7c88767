"""Steps and events as the files of a finished run have them, and whether all of its readings are there."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from railwright.records.codec import FLAG, NUMBER, TEXT, WHOLE, Codec, Key, fields, many, placed
from railwright.records.names import readings_file
from railwright.traces import Event, Span


def _point(data: Any) -> tuple[float, float, float]:
    voltage, start, end = many(NUMBER).read(data)
    return voltage, start, end


_STEP = fields(
    Span,
    name=TEXT,
    kind=TEXT,
    start=NUMBER,
    end=NUMBER,
    inputs=many(TEXT),
    points=many(Codec(list, _point)),
    whole=FLAG,
    # The steps of a run of an earlier version do not say these.
    late=Key(NUMBER, missing=0.0),
    left_out=Key(WHOLE, missing=0),
    time_error=Key(NUMBER, missing=0.0),
    status_gap=Key(NUMBER, missing=0.0),
)

STEPS = many(_STEP)
"""Steps as `run.json` has them."""


def spans_of(data: Any, completed: bool) -> tuple[Span, ...]:
    """Spans from `run.json`.

    completed: the whole procedure was played. Of a run that was not, by a version that did not yet say which
    steps were played to their end, the last is taken not to have been.
    """

    def read(entry: Any) -> Span:
        return _STEP.read({"whole": completed or entry is not data[-1], **entry})

    with placed("steps"):
        return many(Codec(_STEP.write, read)).read(data)


def events_of(data: Any) -> tuple[Event, ...]:
    """Events from `events.json`. Misfit where it holds something else."""
    return many(Codec(Event.as_data, _event)).read(data)


def _event(data: Any) -> Event:
    event = Event.from_data(data)
    with placed("time"):
        NUMBER.read(event.time)
    return event


def missing_rows(
    taken: Mapping[str, int],
    kept: Mapping[str, int],
    file: Callable[[Path, str], Path] = readings_file,
) -> list[str]:
    """One line for each input, or each of what else has a file, of which other than the readings that were
    taken are kept.
    """
    return [
        f"{file(Path(), name)}: holds {kept.get(name, 0)} readings, the run took {count}"
        for name, count in taken.items()
        if kept.get(name, 0) != count
    ]
