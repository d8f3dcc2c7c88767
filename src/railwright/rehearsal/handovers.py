"""Cases in which the outputs of a group hand over to each other what an input takes.

Outputs in parallel share the current, outputs in series in their limit the voltage, by what their set points
are off: where one is above the other, it takes over, and the sooner, the farther they are apart. With exact
set points nothing is handed over. The sum does not change by it, but what each output reads does.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from railwright.circuit.case import HIGH, Case, fixed
from railwright.circuit.errors import QUANTITIES, SetErrors
from railwright.documents.loader import Documents
from railwright.documents.output_name import OutputName
from railwright.physics.output_stage import OutputStage
from railwright.plan.set_points import Feed, OutputSetPoints, SetPoints
from railwright.plan.timeline import Timeline
from railwright.rehearsal.circuit import build_circuit, output_errors
from railwright.rehearsal.read import reading_times
from railwright.rehearsal.rehearse import Prediction
from railwright.traces import Record, Traces, rows_at

if TYPE_CHECKING:
    from railwright.traces import Array

UPDATES = (0.0, 1.0, 8.0)
"""For how many updates of the readings a handover lasts: as briefly as the errors let it, so that apertures
of one output see what falls between those of another; for one update; and for so many that rows in succession
show a wrong sum (chosen).
"""

TURNS = ((0.0, 1.0), (1.0, 0.1))
"""How many updates after its set point a handover begins, and how many it lasts: at once, and so that all of
it lies in the step and in one reading (chosen).
"""

OPPOSED = QUANTITIES[:4]
"""Errors of the outputs that are opposed: those of voltage and limit."""


def handovers(documents: Documents, set_points: SetPoints, record: Record) -> Iterator[Case]:
    """Cases with opposed errors of the outputs that feed an input together, at most as large as the bench
    lets them be, for handovers of each duration of `UPDATES`; none, where there are no such outputs, or their
    set points are exact. record: of a rehearsal at nominal values.
    """
    groups = [feed for feed in set_points.values() if len(feed.outputs) > 1 and feed.input in record.traces]
    if not groups:
        return
    circuit, _ = build_circuit(documents, set_points)
    stages = {
        name: stage
        for branch in circuit.branches
        for name, stage in zip(branch.outputs, branch.stages, strict=True)
    }
    bounds, _ = output_errors(documents, set_points, HIGH)
    seen: list[dict[str, float]] = []
    for turn, updates in enumerate(UPDATES):
        values: dict[str, float] = {}
        for feed in groups:
            lasts = updates * reading_times(documents.bench, feed.names)[0]
            for place, points in enumerate(feed.outputs):
                own, stage = bounds[points.output], stages[points.output]
                part = _part(feed, points, record, (own, stage), lasts)
                sign = 1.0 if (place + turn) % 2 == 0 else -1.0
                values |= {f"{points.output}.{each}": sign * part * getattr(own, each) for each in OPPOSED}
        if any(values.values()) and values not in seen:
            seen.append(values)
            yield fixed(values)


def _part(
    feed: Feed, points: OutputSetPoints, record: Record, output: tuple[SetErrors, OutputStage], lasts: float
) -> float:
    """Which part of its errors lets an output, and its opposite the other way, hand over its share within
    `lasts` [s]: all of them, where those are too small. output: its largest errors, and its stage.

    In parallel the integrators of the voltage loops part by K_i times the error, in series the capacitors of
    the outputs by the error of the limit over C.
    """
    bounds, stage = output
    if lasts <= 0.0:
        return 1.0
    columns, among = record.traces[feed.input].columns, len(feed.outputs)
    if feed.arrangement == "parallel":
        needed = float(columns["current"].max()) / among / (stage.k_i * lasts)
        volts = float(columns["terminal_voltage"].max())
        largest = bounds.voltage_gain * volts + bounds.voltage_offset
    else:
        needed = stage.capacitance * float(columns["terminal_voltage"].max()) * points.share / lasts
        largest = bounds.limit(points.current_limit) - points.current_limit
    return min(1.0, needed / largest) if largest > 0.0 else 1.0


def in_turn(
    documents: Documents, set_points: SetPoints, timeline: Timeline, played: Prediction
) -> Iterator[Prediction]:
    """A rehearsal in which the outputs in parallel take turns: whenever an input's set point begins to move,
    or stands again, its current goes from the first of them, as far as its limit lets it, to the last one,
    or back; each time as `TURNS` has it.

    A host tells them one after another, so that one leads while they move, whatever their errors are, and the
    highest one carries what is drawn when they stand. How late each is told, no document says.
    """
    groups = [name for name in played.shares if set_points[name].arrangement == "parallel"]
    for behind, lasting in TURNS if groups else ():
        traces, shares = dict(played.record.traces), dict(played.shares)
        for name in groups:
            feed = set_points[name]
            own = [each for each in timeline.actions if each.input == name and each.kind != "off"]
            moves = sorted({at for each in own for at in (each.time, each.time + each.over)})
            update = reading_times(documents.bench, feed.names)[0]
            apart, lasts = (behind + lasting) * update, lasting * update
            begins = [
                at + behind * update for before, at in pairwise((-math.inf, *moves)) if at - before > apart
            ]
            if not (begins and update):
                continue
            corners = np.array([at for begin in begins for at in (begin, begin + lasts)])
            turns = (np.arange(len(begins) + 1) + 1.0) % 2.0
            traces[name] = _with_rows(traces[name], corners)
            time = traces[name].time
            part = np.interp(time, corners, np.repeat(turns, 2)[1:-1])
            volts = {
                each: np.interp(time, played.record.traces[name].time, shares[name][each][0])
                for each in feed.names
            }
            amperes = _filled(feed, traces[name].columns["current"], part)
            shares[name] = {each: (volts[each], amperes[each]) for each in feed.names}
        yield replace(played, record=replace(played.record, traces=traces), shares=shares)


def _filled(feed: Feed, current: Array, part: Array) -> dict[OutputName, Array]:
    """What each output carries of a current, shape (n,): `part` of it as if the first took all that its limit
    lets it, and what is left the next, and the rest as if the last one did.
    """
    found = {points.output: np.zeros_like(current) for points in feed.outputs}
    for order, share in ((feed.outputs, part), (feed.outputs[::-1], 1.0 - part)):
        left = current
        for points in order:
            own = left if points is order[-1] else np.minimum(left, points.current_limit)
            found[points.output] = found[points.output] + share * own
            left = left - own
    return found


def _with_rows(traces: Traces, more: Array) -> Traces:
    """The same traces with rows at further instants [s], shape (m,)."""
    inside = more[(more > traces.time[0]) & (more < traces.time[-1])]
    places = np.searchsorted(traces.time, inside, side="right")
    columns = {
        name: np.insert(
            values,
            places,
            values[rows_at(traces.time, inside)]
            if name == "mode"
            else np.interp(inside, traces.time, values),
        )
        for name, values in traces.columns.items()
    }
    return Traces(np.insert(traces.time, places, inside), columns)
