"""How often a rehearsal plays a shape that is repeated until something is read, and how long a hold lasts
that something ends: until it comes, or at most.
"""

from __future__ import annotations

from dataclasses import replace

from railwright.circuit.case import NOMINAL, Case
from railwright.documents.loader import Documents
from railwright.plan.plan import Plan, deliver, plan_of
from railwright.plan.set_points import SetPoints
from railwright.plan.timeline import Held, Repeated, build_timeline
from railwright.quantities import show
from railwright.rehearsal.holding import HoldEnd, hold_end, met_at
from railwright.rehearsal.rehearse import Prediction, rehearse
from railwright.traces import Event, EventKind, Record


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
    lasts: dict[int, float] = {}
    events: list[Event] = []
    most = plan.timeline
    ended: list[Repeated | Held] = [*most.repeated, *most.held]
    for asked in sorted(ended, key=lambda each: each.step):
        # Those before it have been played as often, and as long, as they are by now.
        now = plan.timeline
        at_terminals = set_points[asked.of].sense == "at terminals" if asked.of in set_points else False
        if isinstance(asked, Held):
            held = next(each for each in now.held if each.step == asked.step)
            end = hold_end(held, found.record, at_terminals)
            kind = EventKind.HOLD_ENDS if end.comes == "in time" else EventKind.HOLD_FAILS
            events.append(Event(held.begin + end.lasts, held.of or "run", kind, text=_held(held, end)))
            if end.comes != "in time" or end.lasts >= held.end - held.begin:
                continue
            lasts[held.step] = end.lasts
        else:
            repeated = next(each for each in now.repeated if each.step == asked.step)
            if (played := _turns(repeated, found.record, at_terminals)) >= len(asked.ends):
                continue
            turns[repeated.step] = played
        timeline = build_timeline(documents.procedure, documents.device, turns, lasts)
        plan = deliver(timeline, set_points, documents.bench)
        found = rehearse(documents, set_points, case, plan.played)
    events += [
        Event(now.ends[-1], "run", EventKind.REPEATED, text=_told(now, at_most))
        for now, at_most in zip(plan.timeline.repeated, most.repeated, strict=True)
    ]
    if not events:
        return plan, found
    together = tuple(sorted((*found.record.events, *events), key=lambda event: event.time))
    return plan, replace(found, record=replace(found.record, events=together))


def _held(held: Held, end: HoldEnd) -> str:
    """How what ends a hold comes, for people."""
    words = str(held.until.words)
    if end.comes == "never":
        return f"not within {show(end.lasts, 's')}: {words}"
    return f"{words}: at once" if end.comes == "at once" else f"{words}: after {show(end.lasts, 's')}"


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
