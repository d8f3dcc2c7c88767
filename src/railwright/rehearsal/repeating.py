"""How often a rehearsal plays a shape that is repeated until something is read: until it is, or at most."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from railwright.circuit.case import NOMINAL, Case
from railwright.documents.loader import Documents
from railwright.plan.plan import Plan, deliver, plan_of
from railwright.plan.set_points import SetPoints
from railwright.plan.timeline import Repeated, build_timeline
from railwright.rehearsal.rehearse import Prediction, rehearse
from railwright.traces import Event, EventKind, Record, runs_of

if TYPE_CHECKING:
    from railwright.measures.signal import Array


def rehearse_until(
    documents: Documents, set_points: SetPoints, case: Case = NOMINAL, known: Prediction | None = None
) -> tuple[Plan, Prediction]:
    """The rehearsal of a procedure whose shapes end where what ends them is predicted, and the plan of it.

    Nobody presses a key in a rehearsal, and no trigger comes: those shapes are played as often as they may
    be. known: the rehearsal in which all of them are. Raises as `rehearse` does.
    """
    plan = plan_of(documents, set_points)
    found = known or rehearse(documents, set_points, case, plan.played)
    turns: dict[int, int] = {}
    for position, asked in enumerate(plan.timeline.repeated):
        # Those before it have been played as often as they are by now.
        repeated = plan.timeline.repeated[position]
        at_terminals = set_points[repeated.of].sense == "at terminals"
        played = _turns(repeated, found.record, at_terminals)
        if played < len(asked.ends):
            turns[repeated.step] = played
            timeline = build_timeline(documents.procedure, documents.device, turns)
            plan = deliver(timeline, set_points, documents.bench)
            found = rehearse(documents, set_points, case, plan.played)
    most = plan_of(documents, set_points).timeline.repeated
    events = [
        Event(now.ends[-1], "run", EventKind.REPEATED, text=_told(now, at_most))
        for now, at_most in zip(plan.timeline.repeated, most, strict=True)
    ]
    if not events:
        return plan, found
    together = tuple(sorted((*found.record.events, *events), key=lambda event: event.time))
    return plan, replace(found, record=replace(found.record, events=together))


def _told(now: Repeated, most: Repeated) -> str:
    """How often it is played, for people."""
    if len(now.ends) < len(most.ends):
        return f"{len(now.ends)} of at most {len(most.ends)} times: {now.until.words}"
    why = "nobody does so in a rehearsal" if now.until.press is not None else "not reached before"
    return f"{len(now.ends)} of at most {len(most.ends)} times; until {now.until.words}: {why}"


def _turns(repeated: Repeated, record: Record, at_terminals: bool) -> int:
    """How often it is played: to the end of the turn in which what ends it is predicted."""
    bound = repeated.until.bound
    if bound is None or repeated.of not in record.traces:
        return len(repeated.ends)
    traces = record.traces[repeated.of].closed(repeated.begin, repeated.ends[-1])
    column = "terminal_voltage" if bound.quantity == "voltage" and at_terminals else bound.quantity
    beyond = traces.columns[column] - bound.value
    found = met_at(traces.time, beyond if bound.side == "above" else -beyond, repeated.until.duration)
    return 1 + sum(end + repeated.pause <= found for end in repeated.ends[:-1])


def met_at(time: Array, beyond: Array, duration: float) -> float:
    """When a piecewise linear course, shape (n,), has been above zero for so long [s]; infinite: never."""
    for first, last in runs_of(beyond > 0.0):
        begin, end = float(time[first]), float(time[last - 1])
        if first > 0:
            begin = float(np.interp(0.0, beyond[first - 1 : first + 1], time[first - 1 : first + 1]))
        if last < time.size:
            end = float(np.interp(0.0, -beyond[last - 1 : last + 1], time[last - 1 : last + 1]))
        if end - begin >= duration:
            return begin + duration
    return math.inf
