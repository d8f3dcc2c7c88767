"""What a run's shapes did to each input: level and duration of every disturbance, as asked and as read."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Literal

import numpy as np

from railwright.documents.loader import Documents
from railwright.plan.set_point import pieces
from railwright.plan.timeline import Timeline
from railwright.report.overlay import voltage_of
from railwright.traces import Record, Span, runs_of

SLIGHT = 0.01
"""Part of the level that is left, within which a set point still counts as it (noise of a recording)."""

SHORTEST = 1e-9
"""Sums of times are right to this [s]; what takes less is an instant."""

LATE_LEAST, LATE_PART = 0.05, 0.25
"""A disturbance is looked for so long before and after its time [s], and for this part of its length."""

ROWS_AT_MOST = 12
"""Disturbances of a step and input that are told one by one; more are summed up."""


@dataclass(frozen=True, slots=True)
class Disturbance:
    """A stretch in which an input's set point is away from the level that it leaves and comes back to.

    start, end: on the step's own clock [s]. base: that level [V]. level: the one furthest from it [V]; off:
    the output is switched off. beyond: how long in all the set point is beyond the middle of both [s]. held:
    levels at which it stands [V], each with how long [s], in their order.
    """

    start: float
    end: float
    base: float
    level: float
    beyond: float
    held: tuple[tuple[float, float], ...]
    off: bool = False

    @property
    def duration(self) -> float:
        """How long it lasts [s]."""
        return self.end - self.start

    @property
    def middle(self) -> float:
        """Half-way between both levels [V]."""
        return (self.base + self.level) / 2.0


@dataclass(frozen=True, slots=True)
class SeenDisturbance:
    """A disturbance in a record: its level [V], the current there [A] (None: none was read), and how long in
    all it was beyond the middle between both levels [s]: of each stretch at least from its first sample to
    its last, at most between those around it.
    """

    level: float
    shortest: float
    longest: float
    samples: int
    current: float | None = None


@dataclass(frozen=True, slots=True)
class DisturbanceRow:
    """Equal disturbances of one step and input. test: the standard's, '' for a shape of one's own. seen: as
    each was read, None where nothing was read in it. played: whether the step was played at all. summed_up:
    they are not equal, but too many to be told one by one. at: where its voltage was read.
    """

    step: str
    input: str
    test: str
    asked: tuple[Disturbance, ...]
    seen: tuple[SeenDisturbance | None, ...]
    played: bool
    summed_up: bool = False
    at: Literal["connector", "terminals"] = "connector"


def disturbances(documents: Documents, timeline: Timeline, measured: Record) -> tuple[DisturbanceRow, ...]:
    """Every disturbance of the procedure's shapes, in the order of the steps; equal ones after each other are
    one row.
    """
    rows = []
    played = {span.name: span for span in measured.spans}
    for number, (step, span) in enumerate(zip(documents.procedure.steps, timeline.spans, strict=True)):
        if step.shape is None:
            continue
        for name, waveform in step.shape.waveforms.items():
            own = played.get(span.name)
            found = list(_asked(documents, timeline, number, name))
            rooms = _rooms(found)
            seen = [
                None if own is None else _seen(each, room, own, measured, name)
                for each, room in zip(found, rooms, strict=True)
            ]
            test = waveform.standard or ""
            whole = own is not None
            trace = measured.traces.get(name)
            there = trace is not None and voltage_of(trace) == "terminal_voltage"
            made = _rows(span.name, name, test, found, seen, whole)
            rows += [replace(row, at="terminals") for row in made] if there else made
    return tuple(rows)


# Many: what a row is made of.
def _rows(
    step: str,
    name: str,
    test: str,
    found: Sequence[Disturbance],
    seen: Sequence[SeenDisturbance | None],
    played: bool,
) -> list[DisturbanceRow]:
    def alike(pair: tuple[Disturbance, SeenDisturbance | None]) -> tuple[object, ...]:
        each = pair[0]
        held = tuple((round(level, 4), round(lasts, 6)) for level, lasts in each.held)
        return round(each.level, 4), round(each.duration, 6), held, each.off

    groups = [list(group) for _, group in groupby(zip(found, seen, strict=True), alike)]
    if len(groups) > ROWS_AT_MOST:
        return [DisturbanceRow(step, name, test, tuple(found), tuple(seen), played, summed_up=True)]
    return [
        DisturbanceRow(step, name, test, tuple(d for d, _ in group), tuple(s for _, s in group), played)
        for group in groups
    ]


def _asked(documents: Documents, timeline: Timeline, step: int, name: str) -> Iterator[Disturbance]:
    """The disturbances that the set point of an input makes in a step, in their order."""
    span = timeline.spans[step]
    actions = [each for each in timeline.actions if each.input == name]
    before = [each for each in actions if each.time < span.start]
    own = [each for each in actions if each.step == step and each.path[-1:] != ("at_end",)]
    if not own:
        return
    after = next((each.time for each in actions if each.step > step), timeline.duration)
    level = before[-1].voltage if before and before[-1].kind == "line" else 0.0
    base = _base(documents, timeline, step, name, [level, *(each.voltage for each in own)])
    switched = [each.time - span.start for each in own if each.kind == "off"]
    near = SLIGHT * max(abs(base), 1e-3)
    lines: list[tuple[float, float, float, float]] = []
    end = max(after, span.end)
    for piece in pieces(own, end, level, span.start):
        for part in _parts(
            piece.start - span.start, piece.stop - span.start, piece.before, piece.after, base
        ):
            away = max(abs(part[2] - base), abs(part[3] - base)) > near
            crosses = bool(lines) and (sum(lines[-1][2:]) - 2.0 * base) * (sum(part[2:]) - 2.0 * base) < 0.0
            if (not away and part[1] > part[0]) or crosses:
                yield from _made(lines, base, switched)
                lines = []
            if away:
                lines.append(part)
    yield from _made(lines, base, switched)


def _parts(
    start: float, stop: float, before: float, after: float, base: float
) -> Iterator[tuple[float, float, float, float]]:
    """A straight line, or a jump, in two where it crosses the base level."""
    if (before - base) * (after - base) < 0.0:
        middle = start + (stop - start) * (base - before) / (after - before)
        yield start, middle, before, base
        yield middle, stop, base, after
    else:
        yield start, stop, before, after


def _made(
    lines: Sequence[tuple[float, float, float, float]], base: float, switched: Sequence[float]
) -> Iterator[Disturbance]:
    """The disturbance that these straight lines (from, to [s], from, to [V]) make, if it takes any time."""
    if not lines or lines[-1][1] - lines[0][0] < SHORTEST:
        return
    start, end = lines[0][0], lines[-1][1]
    level = max(
        (value for line in lines if line[1] > line[0] for value in line[2:]), key=lambda v: abs(v - base)
    )
    middle, beyond = (base + level) / 2.0, 0.0
    held: list[tuple[float, float]] = []
    for begin, stop, first, last in lines:
        far = [(value - middle) * (level - middle) >= 0.0 for value in (first, last)]
        part = 1.0 if first == last else abs((middle - (first if far[0] else last)) / (last - first))
        beyond += (stop - begin) * (1.0 if all(far) else part if any(far) else 0.0)
        if abs(last - first) < 1e-9 and stop > begin:
            together = bool(held) and abs(held[-1][0] - last) < 1e-9
            held[-1:] = (
                [(last, held[-1][1] + stop - begin)] if together else [*held[-1:], (last, stop - begin)]
            )
    off = any(start - SHORTEST <= time <= end for time in switched)
    yield Disturbance(start, end, base, level, beyond, tuple(held), off)


def _base(documents: Documents, timeline: Timeline, step: int, name: str, levels: Sequence[float]) -> float:
    """The level that is left: a standard's own; the input's nominal voltage where the shape has it; else that
    before the step.
    """
    turns = [turn for turn in timeline.tests if turn.step == step and turn.input == name]
    if turns:
        return turns[0].level
    nominal = documents.device.inputs[name].nominal
    near = [level for level in levels if abs(level - nominal) <= SLIGHT * abs(nominal)]
    return nominal if near else levels[0]


def _rooms(found: Sequence[Disturbance]) -> list[tuple[float, float]]:
    """Between which instants of the step each is looked for [s]: half-way to its neighbours, and not further
    off than the host or a supply plays it late.
    """
    ends = [-math.inf, *(each.end for each in found)]
    starts = [*(each.start for each in found[1:]), math.inf]
    rooms = []
    for each, before, after in zip(found, ends, starts, strict=False):
        late = max(LATE_PART * each.duration, LATE_LEAST)
        first, last = (before + each.start) / 2.0, (each.end + after) / 2.0
        rooms.append((max(each.start - late, first), min(each.end + late, last)))
    return rooms


# Many: what is looked for, and where.
def _seen(
    asked: Disturbance, room: tuple[float, float], span: Span, record: Record, name: str
) -> SeenDisturbance | None:
    """A disturbance in a record, in the step as it was played."""
    trace = record.traces.get(name)
    if trace is None:
        return None
    voltage = trace.columns[voltage_of(trace)]
    time = trace.time - span.start
    beyond = voltage < asked.middle if asked.level < asked.base else voltage > asked.middle
    inside = beyond & (time >= room[0]) & (time <= min(room[1], span.end - span.start))
    if not inside.any():
        return None
    firsts, behind = np.array([*runs_of(inside)]).T
    shortest = time[behind - 1] - time[firsts]
    longest = time[np.minimum(behind, time.size - 1)] - time[np.maximum(firsts - 1, 0)]
    own = np.flatnonzero(inside)
    place = own[np.argmin(voltage[own]) if asked.level < asked.base else np.argmax(voltage[own])]
    current = trace.columns.get("current")
    return SeenDisturbance(
        float(voltage[place]),
        float(shortest.sum()),
        float(longest.sum()),
        own.size,
        None if current is None else float(current[place]),
    )
