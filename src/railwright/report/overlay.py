"""What is laid over each other in a figure: records on one time base, cut to a step, with its events."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from railwright.report import panels
from railwright.report.limits import DrawnLimit, limits_of
from railwright.report.panels import Curve
from railwright.traces import Event, EventKind, Record, Span, Traces, crossing

if TYPE_CHECKING:
    from railwright.documents.procedure import Requirement
    from railwright.plan.set_points import SetPoints
    from railwright.traces import Array

EVENTS_AT_MOST = 14
SHORT = 0.45
"""Part of a step that an edge takes at most for being shown enlarged beside it."""


@dataclass(frozen=True, slots=True, eq=False)
class Overlay:
    """Records to lay over each other; each may be missing. External ones are aligned to `measured`."""

    rehearsal: Record | None = None
    measured: Record | None = None
    external: tuple[Record, ...] = ()
    requirements: tuple[Requirement, ...] = ()
    set_points: SetPoints = field(default_factory=dict)
    inputs: tuple[str, ...] = ()

    @property
    def base(self) -> Record:
        """The record whose spans and time the figures follow."""
        record = self.measured if self.measured is not None else self.rehearsal
        if record is None:
            raise ValueError("expected a rehearsal or a measured record to plot, got neither")
        return record


def spans_to_draw(record: Record) -> tuple[Span, ...]:
    """Steps with a duration, in time; a power-down goes to the record's end, for the decay that follows."""
    drawn = []
    for span in sorted(record.spans, key=lambda s: s.start):
        names = tuple(name for name in span.inputs if name in record.traces)
        end = span.end
        if span.kind == "power_down":
            end = max([end, *(float(record.traces[n].time[-1]) for n in names if record.traces[n].time.size)])
        if names and end > span.start:
            drawn.append(Span(span.name, span.kind, span.start, end, names, span.points))
    return tuple(drawn)


def extent(record: Record) -> tuple[float, float]:
    """First and last instant of a record [s]; (0, 0) for an empty one."""
    times = [trace.time for trace in record.traces.values() if trace.time.size]
    if not times:
        return 0.0, 0.0
    return min(float(t[0]) for t in times), max(float(t[-1]) for t in times)


def rehearsal_offset(overlay: Overlay, span: Span) -> float:
    """What to add to the rehearsal's time [s] so that the step begins where it did on the bench."""
    if overlay.measured is None or overlay.rehearsal is None:
        return 0.0
    rehearsed = {s.name: s for s in overlay.rehearsal.spans}
    if span.name in rehearsed:
        return span.start - rehearsed[span.name].start
    if overlay.rehearsal.spans and overlay.measured.spans:
        return overlay.measured.spans[0].start - overlay.rehearsal.spans[0].start
    return 0.0


def voltage_of(trace: Traces) -> str:
    """The column of the voltage at the connector; that at the terminals where it was read there only."""
    columns = trace.columns
    return "terminal_voltage" if "voltage" not in columns and "terminal_voltage" in columns else "voltage"


def _in_step(
    overlay: Overlay, record: Record | None, span: Span, name: str, column: str
) -> tuple[Array, Array, float] | None:
    """One channel of an input in a step: time from its start, values, and how far apart two samples may be
    for it to be known between them [s]; None where the record has nothing of it.
    """
    if record is None or name not in record.traces or column not in record.traces[name].columns:
        return None
    trace, rehearsed = record.traces[name], record is overlay.rehearsal
    offset = rehearsal_offset(overlay, span) if rehearsed else 0.0
    time, values = panels.cut(trace.time + offset, trace.columns[column], span.start, span.end)
    reach = math.inf if rehearsed else panels.reach_of(trace.time)
    return (time - span.start, values, reach) if time.size else None


def curves_of(overlay: Overlay, span: Span, name: str, column: str) -> list[Curve]:
    """One channel of an input from every record that has it, in time from the step's start."""
    sources = (
        (overlay.rehearsal, "rehearsed", "rehearsed"),
        *((record, "recording", record.origin) for record in overlay.external),
        (overlay.measured, "readings", "supply's readings"),
    )
    return [
        Curve(form, label, *part)
        for record, form, label in sources
        if (part := _in_step(overlay, record, span, name, column)) is not None
    ]


def seen_in(overlay: Overlay, span: Span, names: Sequence[str]) -> tuple[Record, ...]:
    """The external records that cover a part of the step for one of these inputs."""
    seen = []
    for record in overlay.external:
        times = [record.traces[name].time for name in names if name in record.traces]
        if any(t.size and t[0] < span.end and t[-1] > span.start for t in times):
            seen.append(record)
    return tuple(seen)


def bands_of(overlay: Overlay, span: Span, name: str) -> list[tuple[str, Array, Array, float]]:
    """Modes of an input, rehearsed and as the supply reported them: label, time in the step, modes, and how
    far apart two samples may be for the mode to be known between them [s].
    """
    return [
        (label, *part)
        for record, label in ((overlay.rehearsal, "rehearsed"), (overlay.measured, "reported"))
        if (part := _in_step(overlay, record, span, name, "mode")) is not None
    ]


def outputs_of(set_points: SetPoints, name: str) -> tuple[str, ...]:
    """The outputs that feed an input."""
    return tuple(output.output for output in set_points[name].outputs) if name in set_points else ()


def switched_on(overlay: Overlay, span: Span, name: str) -> float:
    """When the input was switched on in this step [s from its start]; 0 where nothing says so."""
    subjects = {name, *outputs_of(overlay.set_points, name)}
    times = [
        event.time
        for event in overlay.base.events
        if event.kind is EventKind.ON and event.subject in subjects and span.start <= event.time <= span.end
    ]
    return min(times) - span.start if times else 0.0


def events_in(
    overlay: Overlay, span: Span, names: Sequence[str]
) -> tuple[tuple[tuple[int, Event], ...], int]:
    """Events of these inputs and their outputs in the step, numbered from 1; and how many more there were."""
    subjects = {*names, *(output for name in names for output in outputs_of(overlay.set_points, name))}
    events = [
        event
        for event in sorted(overlay.base.events, key=lambda e: e.time)
        if event.subject in subjects and span.start - 1e-9 <= event.time <= span.end
    ]
    return tuple(enumerate(events[:EVENTS_AT_MOST], start=1)), max(0, len(events) - EVENTS_AT_MOST)


def limits_in(
    overlay: Overlay, span: Span, names: Sequence[str]
) -> tuple[tuple[DrawnLimit, ...], tuple[str, ...]]:
    """Limits to draw for these inputs in a step, each where it holds; in words what has no place there."""
    drawn, words = limits_of((r for r in overlay.requirements if r.of in names), span.name)
    placed: list[DrawnLimit] = []
    homeless = list(words)
    for limit in drawn:
        if limit.turns is None:
            placed.append(limit)
            continue
        fall, rise = turning(overlay, span, limit.input)
        at = fall if limit.turns == "fall" else rise
        if at is None:
            homeless.append(limit.label)
        else:
            placed.append(replace(limit, at=at))
    return tuple(placed), tuple(homeless)


def required_until(overlay: Overlay, span: Span) -> float:
    """The end of a step as its requirements mean it [s from its start], also where more of it is drawn."""
    ends = [own.end for own in overlay.base.spans if own.name == span.name]
    return min([span.end, *ends]) - span.start


def turning(overlay: Overlay, span: Span, name: str) -> tuple[float | None, float | None]:
    """When the input's current falls to its low state, and when it rises from it [s from the step's start].

    The stretch of low current that the measures take (`measures.turning`); None where it has no such end.
    """
    from railwright.measures.turning import turning_instants

    trace = overlay.base.traces.get(name)
    if trace is None or "current" not in trace.columns:
        return None, None
    inside = (trace.time >= span.start) & (trace.time <= span.end)
    falls, rises = turning_instants(trace.time[inside], trace.columns["current"][inside])
    return (None if falls is None else falls - span.start, None if rises is None else rises - span.start)


def settling(overlay: Overlay, span: Span, name: str) -> tuple[float, float] | None:
    """The stretch [s from the step's start] in which the current settles after switching on, if short: as
    rehearsed, and as it was recorded and read.
    """
    if span.kind != "power_up":
        return None
    begin = switched_on(overlay, span, name)
    settled = [
        _settled(record.traces[name], span, begin, offset)
        for record, offset in (
            (overlay.rehearsal, rehearsal_offset(overlay, span)),
            *((external, 0.0) for external in overlay.external),
            (overlay.measured, 0.0),
        )
        if record is not None and name in record.traces and "current" in record.traces[name].columns
    ]
    # One record in which it takes long, or that is noisy, does not keep the edge of the others from view.
    lengths = [1.35 * (at - begin) for at in settled if at is not None]
    length = max((each for each in lengths if 0.0 < each <= SHORT * (span.end - span.start)), default=0.0)
    if not length:
        return None
    return max(0.0, begin - 0.06 * length), begin + length


def _settled(trace: Traces, span: Span, begin: float, offset: float) -> float | None:
    """When the current of one record is last further than 5 % of its range from where it ends [s from the
    step's start]; straight lines between its samples. None: it does not move, or is not there.
    """
    time, current = panels.cut(trace.time + offset, trace.columns["current"], span.start, span.end)
    time = time - span.start
    if time.size < 3 or float(np.ptp(current)) == 0.0:
        return None
    distance, near = np.abs(current - current[-1]), 0.05 * float(np.ptp(current))
    away = np.flatnonzero((distance > near) & (time >= begin))
    # A straight rise has a sample at its beginning and one at its end.
    last = int(away[-1]) if away.size else int(np.searchsorted(time, begin, side="right")) - 1
    if last < 0 or distance[last] <= near or last + 1 >= time.size:
        return None
    return crossing(time, distance, last + 1, near)
