"""The lines of a run's log that are read back: their kinds, written by `running`, and what each has beside
`kind`. Other lines (set points, settings) are there for people.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from railwright.traces import HOW_PLAYED, Span

RUN = "run"
"""id, started (ISO 8601), clock: where the record's time begins on the clock of run and guard [s], spans."""

INSTRUMENT = "instrument"
"""name, identification: what it said that it is."""

PROVED = "proved"
"""output, model, version, proved: what was provoked there -> when, by whom and how, missing: what was not."""

ZERO = "zero"
"""shift: by how much the record's time was moved when it began [s]; times before are of the earlier time.
began: the time of day then (ISO 8601).
"""

READING = "reading"
"""time [s], input, at (where its voltage is sensed), voltage [V], current [A], mode (-1: not told); where
several outputs feed the input, outputs: (output, voltage, current) of each.
"""

MULTIMETER = "multimeter"
"""name, time [s], value [V, A] (null: beyond its range), took: what the exchange took [s]: the aperture lies
somewhere in it.
"""

EVENT = "event"
"""As `Event.as_data` has it."""

STEP_BEGINS, STEP_ENDS = "step begins", "step ends"
"""As `step_begins` and `step_ends` have them."""

END = "end"
"""time [s], ended, cause."""


def step_begins(span: Span, time: float) -> dict[str, Any]:
    """The fields of a line: a step begins [s]."""
    return {"time": time, "name": span.name, "step": span.kind, "inputs": span.inputs}


def step_ends(span: Span) -> dict[str, Any]:
    """The fields of a line: a step is over, as it really was."""
    played = {key: getattr(span, key) for key in HOW_PLAYED}
    return {"time": span.end, "name": span.name, "start": span.start, "points": span.points, **played}


def step_of(begins: Mapping[str, Any], ends: Mapping[str, Any]) -> Span:
    """The step of both lines. An earlier version did not say how it was played."""
    points = tuple((float(v), float(a), float(b)) for v, a, b in ends["points"])
    return Span(
        begins["name"],
        begins["step"],
        float(begins["time"]),
        float(ends["time"]),
        tuple(begins["inputs"]),
        points,
        **{key: ends[key] for key in HOW_PLAYED if key in ends},
    )
