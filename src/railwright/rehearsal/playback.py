"""What the outputs really do with the shapes that are asked of them, from a rehearsal's record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from railwright.documents.bench import Bench
from railwright.plan.plan import Plan
from railwright.plan.set_point import waveform
from railwright.plan.set_points import Feed, SetPoints, limit_of
from railwright.plan.timeline import Action, Timeline
from railwright.traces import Record, Span
from railwright.waveforms.deviation import Asked, Deviation, Edge, deviation, edge
from railwright.waveforms.waveform import Waveform

EDGES_AT_MOST = 1000
"""Edges of one shape that are looked at one by one; the largest and r.m.s. deviation are of all of it."""

FOLLOWED = 10.0
"""A line that lasts so many rises of the slowest output, or longer, is followed and no edge (chosen)."""


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


def asked_waveform(timeline: Timeline, step: int, name: str) -> Waveform:
    """What a shape asks of an input, on the step's own clock [s], [V]; 0 V while it is switched off.

    step: the shape's position among the steps.
    """
    level, own, _ = _own(timeline, step, name)
    span = timeline.spans[step]
    return waveform(level, own, 0.0, span.end - span.start)


def limit_waveform(timeline: Timeline, step: int, feed: Feed) -> Waveform:
    """The current limit of an input during a shape, on the step's own clock [s], [A]."""
    import numpy as np

    span, settled = timeline.spans[step], limit_of(feed)
    time, value = [0.0], [settled]
    for change in timeline.limits:
        if change.input == feed.input and change.path[:2] == ("steps", step) and change.time < span.end:
            at = change.time - span.start
            time += [at, at]
            value += [value[-1], settled if change.current is None else change.current]
    time.append(span.end - span.start)
    value.append(value[-1])
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


def asked_edges(actions: Sequence[Action], level: float, end: float) -> list[Asked]:
    """The edges that the actions of one shape ask for, the set point being at `level` [V] before.

    A ripple and an exponential have none: they are played in many short lines. Of a recording only its jumps
    are edges.
    """
    found: list[Asked] = []
    for number, action in enumerate(actions):
        goal = action.voltage if action.kind == "line" else 0.0
        gliding = action.chord or ("recording" in action.path and action.over > 0.0)
        if action.kind == "line" and goal != level and not gliding:
            following = (a for a in actions[number + 1 :] if a.time > action.time or a.voltage != goal)
            until = min(next((a.time for a in following), end), end)
            if until > action.time:
                found.append(Asked(action.time, level, goal, action.over, until))
        level = goal
    return found


def slowest_rises(bench: Bench, set_points: SetPoints) -> dict[str, float]:
    """Rise of each input's slowest output [s]; 0 where none is known."""
    return {
        name: max(bench.output(points.output).rise or 0.0 for points in feed.outputs)
        for name, feed in set_points.items()
    }


def played_shapes(plan: Plan, record: Record) -> tuple[PlayedShape, ...]:
    """Every shape on every input of a rehearsal's record, without edges that the outputs follow with ease."""
    return playback(plan.timeline, record, slowest_rises(plan.bench, plan.set_points))


def playback(
    timeline: Timeline, record: Record, rises: Mapping[str, float] | None = None
) -> tuple[PlayedShape, ...]:
    """Every shape on every input of a rehearsal's record: how far it lies from what was asked.

    The voltage is that at the input's connector. A shape that takes no time is left out. rises: of each
    input's slowest output [s]; lines that it follows with ease are then no edges, while jumps always are.
    """
    found = []
    for step, span in enumerate(timeline.spans):
        for name in span.inputs if span.kind == "shape" and span.end > span.start else ():
            traces = record.traces.get(name)
            level, actions, after = _own(timeline, step, name)
            part = traces.closed(span.start, span.start + after) if traces is not None else None
            if part is None or not part.time.size:
                continue
            time, voltage = part.time - span.start, part.columns["voltage"]
            asked = waveform(level, actions, 0.0, span.end - span.start)
            away = _away(actions, after)
            edges = asked_edges(actions, level, after)
            if rises is not None:
                follows = FOLLOWED * rises.get(name, 0.0)
                edges = [each for each in edges if each.over == 0.0 or each.over < follows]
            judged = tuple(edge(each, time, voltage) for each in edges[:EDGES_AT_MOST])
            whole = deviation(asked, time, voltage, away)
            left_out = len(edges) - len(judged)
            found.append(PlayedShape(step, span, name, asked, away, whole, judged, left_out))
    return tuple(found)
