"""What reaches the outputs of a shape that they play by their own point lists."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from railwright.plan.timeline import Action, ContactChange, LimitChange, Timeline, Waiting

if TYPE_CHECKING:
    from railwright.waveforms.point_list import PointList


@dataclass(frozen=True, eq=False, slots=True)
class Listing:
    """A shape step's list for one input.

    step: position of the step. points: voltages of the input; an output in series has its share of them.
    count: how often it is played through.
    """

    step: int
    input: str
    points: PointList
    count: int

    @property
    def duration(self) -> float:
        """From the trigger to the end of the last dwell [s]."""
        return float(self.points.dwells.sum()) * self.count


@dataclass(slots=True)
class Own:
    """What a shape step does to one input, in order, and the set point just before [V]."""

    level: float
    actions: list[Action] = field(default_factory=list)


def shape_actions(timeline: Timeline) -> dict[tuple[int, str], Own]:
    """(position of the step, input) -> what the shape there does to it; one pass over all actions.

    What it does at its very end is left to the next step.
    """
    found: dict[tuple[int, str], Own] = {}
    level: dict[str, float] = {}
    for action in timeline.actions:
        name, span = action.input, timeline.spans[action.step]
        if span.kind == "shape" and action.time < span.end:
            found.setdefault((action.step, name), Own(level.get(name, 0.0))).actions.append(action)
        level[name] = 0.0 if action.kind == "off" else action.voltage
    return found


def with_actions(timeline: Timeline, instead: Mapping[tuple[int, str], Sequence[Action]]) -> Timeline:
    """The timeline with other actions in place of what these (step, input) ask."""
    if not instead:
        return timeline
    own = shape_actions(timeline)
    replaced = {id(action) for key in instead for action in own[key].actions}
    kept = [number for number, action in enumerate(timeline.actions) if id(action) not in replaced]
    return placed_anew(timeline, kept, [action for each in instead.values() for action in each])


def placed_anew(timeline: Timeline, kept: Sequence[int], added: Sequence[Action]) -> Timeline:
    """The timeline with its actions at these positions, and with others in place of the rest."""
    times = sorted(action.time for action in added)
    actions = [*(timeline.actions[number] for number in kept), *added]

    def before(each: LimitChange | Waiting | ContactChange) -> int:
        """Position of the first action after it, among the actions as they are now."""
        return bisect_left(kept, each.before) + bisect_left(times, each.time)

    return replace(
        timeline,
        actions=tuple(sorted(actions, key=lambda action: action.time)),
        limits=tuple(each._replace(before=before(each)) for each in timeline.limits),
        waits=tuple(each._replace(before=before(each)) for each in timeline.waits),
        contacts=tuple(each._replace(before=before(each)) for each in timeline.contacts),
    )


def with_ends(timeline: Timeline, ends: Mapping[tuple[int, str], float]) -> Timeline:
    """The timeline with a set point at the end of these steps, for these inputs [V]: where the point list
    that plays a step ends elsewhere than what was asked, the input would stand there from then on.
    """
    actions, limits, waits = list(timeline.actions), list(timeline.limits), list(timeline.waits)
    contacts = list(timeline.contacts)
    for (step, name), voltage in ends.items():
        at = timeline.spans[step].end
        place = next(
            (n for n, each in enumerate(actions) if each.time >= at and each.step > step), len(actions)
        )
        actions.insert(place, Action(at, "line", name, voltage, step=step))
        limits = [each._replace(before=each.before + (each.before > place)) for each in limits]
        waits = [each._replace(before=each.before + (each.before > place)) for each in waits]
        contacts = [each._replace(before=each.before + (each.before > place)) for each in contacts]
    return replace(
        timeline,
        actions=tuple(actions),
        limits=tuple(limits),
        waits=tuple(waits),
        contacts=tuple(contacts),
    )


def as_played(timeline: Timeline, listings: Iterable[Listing]) -> Timeline:
    """The timeline with the points of each list in place of what the procedure asks."""
    instead: dict[tuple[int, str], list[Action]] = {}
    for listing in listings:
        now, points = timeline.spans[listing.step].start, listing.points
        actions = instead[listing.step, listing.input] = []
        for _ in range(listing.count):
            for voltage, dwell in zip(points.voltages.tolist(), points.dwells.tolist(), strict=True):
                over = dwell if points.between == "line" else 0.0
                actions.append(
                    Action(now, "line", listing.input, voltage, over, step=listing.step, listed=True)
                )
                now += dwell
    return with_actions(timeline, instead)
