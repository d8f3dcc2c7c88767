"""When the host sends which set point, where more are asked than it can exchange with the supplies.

Each is sent at its time, or as soon as the exchange before is over; one that is late as the next of its input
is due is left out. A run does the same where its supplies are slower than expected.
"""

from __future__ import annotations

import math
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from types import MappingProxyType

from railwright.documents.bench import Bench
from railwright.grouping import grouped
from railwright.plan.listing import Listing, placed_anew
from railwright.plan.set_points import SetPoints
from railwright.plan.stairs import AT_ONCE, EXACT, exchange_of
from railwright.plan.timeline import Action, Timeline
from railwright.traces import Span

HOST_TIMED = ("shape", "sweep")
"""Kinds of steps whose set points the host sends one by one."""


def send_times(
    asked: Sequence[Action],
    apart: Mapping[str, float],
    waits: Sequence[float] = (),
    behind: Mapping[str, float] = MappingProxyType({}),
) -> list[float | None]:
    """When each action is sent [s]; None: it is left out.

    asked: in order of time, lines by the outputs' own slew or jumps. apart: of each input, how long an
    exchange with its supplies takes [s]. waits: times at which everything stays until a trigger or a key
    comes: what comes behind finds the host free. behind: of an input, when the set point or the point list
    takes hold that comes after all of these [s]. Only what is overtaken by a set point is left out; what
    switches an output goes out in any case, and takes the set point of the same instant along.
    """
    following = [math.inf] * len(asked)
    next_of: dict[str, Action] = {}
    for number in range(len(asked) - 1, -1, -1):
        action = asked[number]
        after = next_of.get(action.input)
        if after is None:
            following[number] = behind.get(action.input, math.inf)
        elif after.kind == "line":
            following[number] = after.time
        next_of[action.input] = action
    times: list[float | None] = []
    free, waiting, before = -math.inf, sorted(waits), -math.inf
    switched: dict[str, tuple[float, float]] = {}  # when an input is switched on, and when that is sent
    for action, until in zip(asked, following, strict=True):
        if any(before <= wait <= action.time for wait in waiting):
            free = -math.inf
        before = action.time
        due, sent = switched.get(action.input, (-math.inf, 0.0))
        if action.kind == "line" and action.time - due < AT_ONCE:
            times.append(sent)  # one message with the switching
            continue
        own, slack = apart[action.input], EXACT * apart[action.input]
        at = action.time if free - action.time <= slack else free
        if action.kind == "line" and until <= at + max(slack, AT_ONCE):
            times.append(None)
            continue
        times.append(at)
        free = at + own
        if action.kind == "on":
            switched[action.input] = action.time, at
    return times


def as_sent(asked: Sequence[Action], times: Sequence[float | None], level: float) -> list[Action]:
    """What is told of these actions of one input, from `level` [V] on: each at the time at which it is sent,
    and a line at the rate at which it was asked, wherever it begins.

    So its duration may reach beyond the next action: `as_reached` cuts it there.
    """
    told: list[Action] = []
    goal = level  # of what was told last
    for action, time in zip(asked, times, strict=True):
        change, level = action.voltage - level, action.voltage if action.kind == "line" else 0.0
        if time is None:
            continue
        over = action.over * abs(action.voltage - goal) / abs(change) if change != 0.0 else 0.0
        told.append(replace(action, time=time, over=over))
        goal = level
    return told


def as_reached(told: Sequence[Action], level: float) -> list[Action]:
    """What becomes of the set point of one input, from `level` [V] on: lines that the next action ends.

    Off does not: the set point goes on to its goal, and takes coupled ones along.
    """
    reached: list[Action] = []
    goal = level
    for number, action in enumerate(told):
        after = next((each for each in told[number + 1 :] if each.kind != "off"), None)
        following = math.inf if after is None else after.time
        stands, rate = level, 0.0
        if action.kind == "line" and action.over > 0.0:
            rate = abs(action.voltage - goal) / action.over
        goal = level = action.voltage if action.kind == "line" else 0.0
        if rate == 0.0:
            reached.append(action)
            continue
        over = abs(action.voltage - stands) / rate
        left = following - action.time
        if over > left + AT_ONCE:
            level = stands + (action.voltage - stands) * left / over
            over = left
        reached.append(replace(action, voltage=level, over=over))
    return reached


@dataclass(frozen=True, eq=False)
class Sending:
    """What the host sends in the steps whose set points it cannot all keep.

    asked: the actions that it was to send there, in order. times: when each is sent [s], None: it is left
    out. levels: the set point of each input before the first of them, by step and input [V].
    """

    asked: tuple[Action, ...] = ()
    times: tuple[float | None, ...] = ()
    levels: Mapping[tuple[int, str], float] = field(default_factory=lambda: MappingProxyType({}))

    @cached_property
    def left_out(self) -> dict[tuple[int, str], int]:
        """Step and input -> how many of its set points are left out; those of one instant are one."""
        found = dict.fromkeys(self.levels, 0)
        pending: dict[tuple[int, str], float] = {}  # when one was to be sent that is left out
        for action, time in zip(self.asked, self.times, strict=True):
            key = action.step, action.input
            left = pending.pop(key, None)
            found[key] += left is not None and action.time - left >= AT_ONCE
            if time is None:
                pending[key] = action.time
        for key in pending:
            found[key] += 1
        return found

    @cached_property
    def late(self) -> dict[tuple[int, str], float]:
        """Step and input -> how late the latest of its set points is sent [s]."""
        found = dict.fromkeys(self.levels, 0.0)
        for action, time in zip(self.asked, self.times, strict=True):
            if time is not None:
                key = action.step, action.input
                found[key] = max(found[key], time - action.time)
        return found

    def misses(self, step: int, name: str) -> bool:
        """Whether set points of an input are left out in a step, or sent late."""
        return bool(self.left_out.get((step, name))) or self.late.get((step, name), 0.0) > AT_ONCE

    def spans(self, spans: Sequence[Span], accepted: Container[tuple[int, str]] = ()) -> tuple[Span, ...]:
        """The steps, with how many of their set points are left out, and how late the others are.

        accepted: step and input of which what is played is what is asked all the same.
        """
        found = list(spans)
        for step, name in self.levels:
            if (step, name) not in accepted:
                left_out = found[step].left_out + self.left_out[step, name]
                late = max(found[step].late, self.late[step, name])
                found[step] = replace(found[step], left_out=left_out, late=late)
        return tuple(found)

    def told(self, timeline: Timeline) -> Timeline:
        """The timeline with what is told to the outputs."""
        if not self.asked:
            return timeline
        sent = grouped(
            ((action.step, action.input), (action, time))
            for action, time in zip(self.asked, self.times, strict=True)
        )
        added: list[Action] = []
        for key, each in sent.items():
            own, times = zip(*each, strict=True)
            added += as_sent(own, times, self.levels[key])
        kept = [
            number
            for number, action in enumerate(timeline.actions)
            if (action.step, action.input) not in sent
        ]
        return placed_anew(timeline, kept, added)

    def reached(self, told: Timeline) -> Timeline:
        """A timeline with what becomes of the set points, where this is told to the outputs: of a line that
        goes with the jump before it, or waits for it, what is told then, not what would have become of it.
        """
        actions = list(told.actions)
        places = grouped(
            ((action.step, action.input), number)
            for number, action in enumerate(actions)
            if (action.step, action.input) in self.levels
        )
        for key, own in places.items():
            reached = as_reached([actions[number] for number in own], self.levels[key])
            for number, action in zip(own, reached, strict=True):
                actions[number] = action
        return replace(told, actions=tuple(actions))


def sending(
    timeline: Timeline, set_points: SetPoints, bench: Bench, listings: Iterable[Listing] = ()
) -> Sending:
    """What the host sends in the steps whose set points it cannot all keep. Pure.

    timeline: as the outputs are to play it, with stairs in place of lines that they have no slew for.
    listings: what is played by point lists, which ask nothing of the host.
    """
    listed = {(each.step, each.input) for each in listings}
    apart = {name: exchange_of(feed.names, bench) for name, feed in set_points.items()}
    waits = grouped((wait.step, wait.time) for wait in timeline.waits)
    steps: dict[int, list[Action]] = {}
    levels: dict[tuple[int, str], float] = {}
    stands: dict[str, float] = {}
    behind: dict[int, dict[str, float]] = {}
    last: dict[str, Action] = {}
    for action in timeline.actions:
        name, key = action.input, (action.step, action.input)
        if name in apart and key not in listed and timeline.spans[action.step].kind in HOST_TIMED:
            steps.setdefault(action.step, []).append(action)
            levels.setdefault(key, stands.get(name, 0.0))
        stands[name] = action.voltage if action.kind == "line" else 0.0
        before = last.get(name)
        # At one instant it is not late: what is told then is a matter of the moves.
        if before and before.step != action.step and action.time - before.time >= AT_ONCE:
            behind.setdefault(before.step, {})[name] = action.time if action.kind == "line" else math.inf
        last[name] = action
    asked: list[Action] = []
    times: list[float | None] = []
    for step, own in steps.items():
        sent = send_times(own, apart, waits.get(step, ()), behind.get(step, {}))
        if _kept(own, sent, apart):
            continue
        asked += own
        times += sent
    keys = {(action.step, action.input) for action in asked}
    return Sending(tuple(asked), tuple(times), {key: levels[key] for key in keys})


def _kept(own: Sequence[Action], sent: Sequence[float | None], apart: Mapping[str, float]) -> bool:
    """Whether every set point is sent, and those of each input by itself in time; how long inputs that move
    at once wait for each other is no part of it.
    """
    last: dict[str, Action] = {}
    for action, time in zip(own, sent, strict=True):
        before = last.get(action.input)
        last[action.input] = action
        if before is None:
            continue
        gap = action.time - before.time
        if gap < AT_ONCE:
            continue
        if gap < apart[action.input] * (1.0 - EXACT) and (time is None or time - action.time > AT_ONCE):
            return False
    overtaken = Sending(tuple(own), tuple(sent), dict.fromkeys({(a.step, a.input) for a in own}, 0.0))
    return not any(overtaken.left_out.values())
