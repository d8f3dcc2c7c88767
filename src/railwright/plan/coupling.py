"""Coupled set points: what a change of one output's set point does to the others of its group."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping
from typing import Literal, NamedTuple

from railwright.documents.bench import Bench, Coupling
from railwright.documents.output_name import OutputName
from railwright.plan.set_points import SetPoints
from railwright.plan.stairs import slew_range
from railwright.plan.timeline import Timeline


class OutputAction(NamedTuple):
    """One thing done to one output at `time` [s]; as `Action`, with the output's own voltage [V].

    moved_by: the output whose change moves this one by coupling; None: the procedure itself does it. cause:
    position of the timeline's action that does it. slew: at which the output is told to play a line [V/s];
    0: it is none, or takes its time wherever it begins.
    """

    time: float
    kind: Literal["on", "line", "off"]
    output: OutputName
    voltage: float = 0.0
    over: float = 0.0
    moved_by: OutputName | None = None
    cause: int = 0
    slew: float = 0.0


DIGITS = 1e-9
"""Set points that differ by less than this part are told alike (chosen)."""

SetPoint = Literal["voltage", "current_limit"]
"""What may be coupled."""


def moved(before: float, after: float, other: float, by: Literal["step", "ratio"]) -> float:
    """Where a set point's change from `before` to `after` takes a coupled one that stands at `other`, all in
    V, or all in A.

    step: by as much. ratio: in the same proportion; from 0 there is none, and it stays.
    """
    if by == "step":
        return other + (after - before)
    return other * (after / before) if before else other


def followers(
    bench: Bench, output: OutputName, of: SetPoint = "voltage"
) -> list[tuple[OutputName, Coupling]]:
    """The outputs whose voltage, or current limit, moves with that of one, and how."""
    return [
        (OutputName.of(output.supply, other), group)
        for group in bench.supplies[output.supply].coupled
        if group.of == of and output.output in group.outputs
        for other in group.outputs
        if other != output.output
    ]


def tied_limits(bench: Bench, outputs: Collection[OutputName]) -> Iterator[tuple[str, int, list[OutputName]]]:
    """Coupled current limits of which more than one output is among these: supply, number of the group, and
    those outputs, in the order in which they are given.
    """
    for supply, document in bench.supplies.items():
        for number, group in enumerate(document.coupled):
            used = [each for each in outputs if each.supply == supply and each.output in group.outputs]
            if group.of == "current_limit" and len(used) > 1:
                yield supply, number, used


def all_changes(bench: Bench, set_points: SetPoints, timeline: Timeline) -> list[OutputAction]:
    """Everything that is done to the outputs: see `changes_of`. Without a slew where it cannot be set."""
    shares = {name: {each.output: each.share for each in feed.outputs} for name, feed in set_points.items()}
    programmed = {
        output: slew_range(feed, bench) is not None for feed in set_points.values() for output in feed.names
    }
    return [
        change if programmed[change.output] else change._replace(slew=0.0)
        for change in changes_of(bench, shares, timeline)
    ]


def changes_of(
    bench: Bench, shares: Mapping[str, Mapping[OutputName, float]], timeline: Timeline
) -> list[OutputAction]:
    """Everything that is done to the outputs, in order of time: the procedure's actions, and after each what
    it moves by coupling.

    shares: input -> the outputs that feed it, each with the part of the voltage that it carries. A set point
    moves whether its output is on or not, within the output's range. All start at 0 V; a line counts as set
    to its end when it begins, and takes a coupled set point along in the same time. What is switched on, and
    set at the same instant, is set once.
    """
    known = {output for own in shares.values() for output in own}
    stands: dict[OutputName, float] = dict.fromkeys(known, 0.0)
    levels = dict.fromkeys(shares, 0.0)
    changes: list[OutputAction] = []
    for number, action in enumerate(timeline.actions):
        if action.input not in shares:
            continue
        own = {output: action.voltage * share for output, share in shares[action.input].items()}
        # What the outputs are told comes of the procedure's set points, whatever another has moved them to.
        level, levels[action.input] = levels[action.input], 0.0 if action.kind == "off" else action.voltage
        timed = action.over > 0.0 and not action.listed
        slew = abs(action.voltage - level) / action.over if timed else 0.0
        if action.kind == "off":
            changes += [OutputAction(action.time, "off", each, cause=number) for each in own]
            continue
        if action.kind == "on" and _set_with_it(timeline, number):
            own = {output: stands[output] for output in own}
        for output, voltage in own.items():
            before, stands[output] = stands[output], voltage
            told = slew * shares[action.input][output]
            changes.append(
                OutputAction(action.time, action.kind, output, voltage, action.over, None, number, told)
            )
            for other, goal in taken_along(bench, stands, output, before):
                # Outputs that feed one input together are each told their own part anyway.
                if other not in own:
                    stands[other] = goal
                    changes.append(
                        OutputAction(action.time, "line", other, goal, action.over, output, number)
                    )
    return changes


def _set_with_it(timeline: Timeline, number: int) -> bool:
    """Whether an action's input is set at the instant at which that action switches it on: in one message."""
    action = timeline.actions[number]
    for other in timeline.actions[number + 1 :]:
        if other.time > action.time:
            return False
        if other.input == action.input:
            return other.kind == "line"
    return False


def taken_along(
    bench: Bench,
    stands: Mapping[OutputName, float],
    output: OutputName,
    before: float,
    of: SetPoint = "voltage",
) -> Iterator[tuple[OutputName, float]]:
    """The outputs whose set point moves with that of one, which stood at `before` and now stands where
    `stands` says; each with where it goes, within its range: all in V, or all in A.

    stands: the outputs whose set point is known. A current limit goes from one value of its grid to another.
    """
    after = stands[output]
    if of == "current_limit":
        before, after = on_grid(bench, output, before), on_grid(bench, output, after)
    for other, group in followers(bench, output, of):
        if other not in stands:
            continue
        document, there = bench.output(other), stands[other]
        reach = document.voltage if of == "voltage" else document.current
        there = on_grid(bench, other, there) if of == "current_limit" else there
        goal = min(max(moved(before, after, there, group.by), reach.low), reach.high)
        goal = on_grid(bench, other, goal) if of == "current_limit" else goal
        # Told again where it stands, it goes on as it does; worked out twice, the last digits differ.
        if not math.isclose(goal, there, rel_tol=DIGITS):
            yield other, goal


def on_grid(bench: Bench, output: OutputName, limit: float) -> float:
    """The current limit that an output takes over when it is told this one [A]: the nearest of its grid, or
    just that where the bench gives no resolution.
    """
    step = limit_step(bench, output)
    return limit if not step or not math.isfinite(limit) else round(limit / step) * step


def limit_step(bench: Bench, output: OutputName) -> float:
    """Step of an output's current limit [A]; 0: the bench gives none."""
    programming = bench.output(output).programming
    return (programming.current.resolution or 0.0) if programming else 0.0
