"""What the outputs really do with the shapes that are asked of them, from a rehearsal's record."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from railwright.documents.bench import Bench
from railwright.plan.delivery import Delivery, voltage_step
from railwright.plan.plan import Plan
from railwright.plan.set_point import waveform
from railwright.plan.set_points import SetPoints
from railwright.plan.timeline import Action, Timeline
from railwright.quantities import show
from railwright.traces import Record, Span
from railwright.waveforms.deviation import Asked, Deviation, Edge, deviation, edge
from railwright.waveforms.recordings import PART
from railwright.waveforms.waveform import Waveform

EDGES_AT_MOST = 1000
"""Edges of one shape that are looked at one by one; the largest and r.m.s. deviation are of all of it."""

FOLLOWED = 10.0
"""A line that lasts so many rises of the slowest output, or longer, is followed and no edge (chosen)."""

ROUNDING = 1e-6
"""Part of a step by which a difference of two voltages on its grid may seem smaller."""


@dataclass(frozen=True, eq=False)
class PlayedShape:
    """One shape on one input: what was asked, and what became of it.

    asked: on the step's own clock. away: when the output is off on purpose, on the same clock [s]. left_out:
    edges that were not looked at one by one.
    """

    step: int
    span: Span
    input: str
    asked: Waveform
    away: tuple[tuple[float, float], ...]
    whole: Deviation
    edges: tuple[Edge, ...]
    left_out: int

    def __repr__(self) -> str:
        edges, far = len(self.edges) + self.left_out, show(self.whole.largest, "V")
        return f"<PlayedShape '{self.span.name}' of {self.input}: {edges} edges, largest deviation {far}>"


def limit_waveform(plan: Plan, step: int, name: str) -> Waveform:
    """The current limit of an input during a shape, on the step's own clock [s], [A]: also where that of
    another input moves it.
    """
    span, level = plan.timeline.spans[step], plan.set_points[name].limit
    time: list[float] = []
    value: list[float] = []
    for change in plan.limits:
        if change.input != name or change.time >= span.end:
            continue
        at = change.time - span.start
        if at < 0.0 or (at == 0.0 and plan.timeline.limits[change.cause].step < step):
            level = change.whole
            continue
        time += [at, at]
        value += [value[-1] if value else level, change.whole]
    time = [0.0, *time, span.end - span.start]
    value = [level, *value, value[-1] if value else level]
    return Waveform(np.maximum.accumulate(np.array(time)), np.array(value))


def _own(timeline: Timeline, step: int, name: str) -> tuple[float, list[Action], float]:
    """The set point before a shape [V], its actions on an input, and when the next one comes after it; on the
    step's own clock [s].
    """
    span = timeline.spans[step]
    level, own, start, after = 0.0, [], span.start, timeline.duration - span.start
    for action in timeline.actions:
        if action.input != name:
            continue
        if action.path[:2] == ("steps", step) and action.path[-1] != "at_end":
            own.append(replace(action, time=action.time - start))
        elif action.time >= span.end and (own or action.time > start):
            after = action.time - start
            break
        else:
            level = action.voltage if action.kind == "line" else 0.0
    return level, own, max(after, span.end - start)


def _away(actions: Sequence[Action], end: float) -> tuple[tuple[float, float], ...]:
    """Stretches of time from 'off' to 'on' [s]."""
    found: list[tuple[float, float]] = []
    off: float | None = None
    for action in actions:
        if action.kind == "off":
            off = action.time
        elif action.kind == "on" and off is not None:
            found.append((off, action.time))
            off = None
    return tuple(found) if off is None or off >= end else (*found, (off, end))


def asked_edges(actions: Sequence[Action], level: float, end: float, step: float = 0.0) -> list[Asked]:
    """The edges that the actions of one shape ask for, the set point being at `level` [V] before.

    A ripple and an exponential have none: they are played in many short lines. Of a recording only its jumps
    are edges. What leaves its level at once is none either: it has no state after it, and a jump from there
    at the same instant goes from the level before. step: changes smaller than this step of the outputs'
    voltage [V] are none, nor are those of a recording within which its lines stand for its samples.
    """
    found: list[Asked] = []
    captured = [action.voltage for action in actions if "recording" in action.path]
    fitted = PART * (max(captured) - min(captured)) if captured else 0.0
    stood, now = level, -math.inf  # before what happens at one instant, and that instant
    for number, action in enumerate(actions):
        if action.time > now:
            stood, now = level, action.time
        start = level if action.over > 0.0 else stood
        goal = action.voltage if action.kind == "line" else 0.0
        recorded = "recording" in action.path
        least = max(step, fitted) if recorded else step
        gliding = action.chord or (recorded and action.over > 0.0)
        if action.kind == "line" and not gliding and _differ(goal, start, least):
            following = (
                a.time for a in actions[number + 1 :] if a.kind != "line" or _differ(a.voltage, goal, least)
            )
            until = min(next(following, end), end)
            if until > action.time:
                found.append(Asked(action.time, start, goal, action.over, until))
        level = goal
    return found


def _differ(one: float, other: float, least: float) -> bool:
    """Whether two voltages are that far apart, where their difference may be out by its rounding."""
    return one != other and abs(one - other) >= least * (1.0 - ROUNDING)


def slowest_rises(bench: Bench, set_points: SetPoints) -> dict[str, float]:
    """Rise of each input's slowest output [s]; 0 where none is known."""
    return {
        name: max(bench.output(points.output).rise or 0.0 for points in feed.outputs)
        for name, feed in set_points.items()
    }


def ahead(deliveries: Iterable[Delivery]) -> dict[tuple[int, str], float]:
    """(step, input) -> how long before its time an edge may be played by a point list [s]."""
    found = {}
    for each in deliveries:
        if each.listing is not None:
            points, figures = each.listing.points, each.figures
            # Of a captured waveform `edge` is from half height to half height.
            lasts = figures is not None and figures.edges and points.between == "line"
            found[each.step, each.input] = each.edge + (float(points.dwells.min()) if lasts else 0.0)
    return found


def played_shapes(plan: Plan, record: Record) -> tuple[PlayedShape, ...]:
    """Every shape on every input of a rehearsal's record, without edges that the outputs follow with ease or
    that are smaller than a step of their voltage.
    """
    steps = {name: voltage_step(feed, plan.bench) for name, feed in plan.set_points.items()}
    rises = slowest_rises(plan.bench, plan.set_points)
    return playback(plan.timeline, record, rises, steps, ahead(plan.deliveries))


def playback(
    timeline: Timeline,
    record: Record,
    rises: Mapping[str, float] | None = None,
    steps: Mapping[str, float] | None = None,
    early: Mapping[tuple[int, str], float] | None = None,
) -> tuple[PlayedShape, ...]:
    """Every shape on every input of a rehearsal's record: how far it lies from what was asked.

    The voltage is that at the input's connector. A shape that takes no time, or that is not played because
    a required trip comes before it, is left out; one that the trip cuts short is judged up to it. rises: of
    each input's slowest output [s]; lines that it follows with ease are then no edges, while jumps always
    are. steps: of each input's voltage [V]. early: see `ahead`.
    """
    found = []
    for step, asked_span in enumerate(timeline.spans):
        span = replace(asked_span, end=min(asked_span.end, record.played_until))
        for name in span.inputs if span.kind == "shape" and span.end > span.start else ():
            traces = record.traces.get(name)
            level, actions, after = _own(timeline, step, name)
            after = min(after, record.played_until - span.start)
            actions = [action for action in actions if action.time <= after]
            part = traces.closed(span.start, span.start + after) if traces is not None else None
            if part is None or not part.time.size:
                continue
            time, voltage = part.time - span.start, part.columns["voltage"]
            asked = waveform(level, actions, 0.0, span.end - span.start)
            away = _away(actions, after)
            edges = asked_edges(actions, level, after, (steps or {}).get(name, 0.0))
            if rises is not None:
                follows = FOLLOWED * rises.get(name, 0.0)
                edges = [each for each in edges if each.over == 0.0 or each.over < follows]
            sooner = (early or {}).get((step, name), 0.0)
            judged = tuple(edge(each, time, voltage, sooner) for each in edges[:EDGES_AT_MOST])
            whole = deviation(asked, time, voltage, away)
            left_out = len(edges) - len(judged)
            found.append(PlayedShape(step, span, name, asked, away, whole, judged, left_out))
    return tuple(found)
