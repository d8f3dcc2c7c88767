"""The current limit of every output over time, and how the limits that were settled are told: limits that
the supply couples move with each other.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Literal, NamedTuple

from railwright.documents.bench import Bench
from railwright.documents.output_name import OutputName
from railwright.plan.coupling import limit_step, on_grid, taken_along, tied_limits
from railwright.plan.set_points import Feed, SetPoints
from railwright.plan.timeline import Timeline

DIGITS = 12
"""Decimals of an output's part of a limit [A]: what is written comes out of its parts as it is written."""

ROUNDING = 1e-9
"""Part by which two limits may differ and still be the same; of distances in A, or in logarithms, so much."""


class LimitAction(NamedTuple):
    """The current limit of one output from `time` [s] on [A].

    whole: that of its input then [A]. moved_by: the output whose change moves this one by coupling; None: the
    procedure itself sets it. cause: position of the timeline's change that does it.
    """

    time: float
    input: str
    output: OutputName
    current: float
    whole: float
    moved_by: OutputName | None = None
    cause: int = 0


def settled_limits(set_points: SetPoints) -> dict[OutputName, float]:
    """Output -> the current limit that was settled for it [A]."""
    return {each.output: each.current_limit for feed in set_points.values() for each in feed.outputs}


def limit_actions(bench: Bench, set_points: SetPoints, timeline: Timeline) -> list[LimitAction]:
    """Every change of a current limit, in order of time: what the procedure sets, and after each what it
    moves by coupling. At first every output stands at its set point's own.

    A limit moves whether its output is on or not, within the output's range and on its grid. Of outputs that
    feed one input together one is told after the other, as a run tells them.
    """
    stands = settled_limits(set_points)
    fed = {output: name for name, feed in set_points.items() for output in feed.names}
    found: list[LimitAction] = []

    def add(output: OutputName, moved_by: OutputName | None, number: int) -> None:
        feed, time = set_points[fed[output]], timeline.limits[number].time
        whole = whole_limit(feed, stands)
        found.append(LimitAction(time, feed.input, output, stands[output], whole, moved_by, number))

    in_order = sorted(enumerate(timeline.limits), key=lambda each: (each[1].time, each[1].before, each[0]))
    for number, change in in_order:
        if change.input not in set_points:
            continue
        for output, limit in told_limits(set_points[change.input], change.current).items():
            before, stands[output] = stands[output], limit
            add(output, None, number)
            for other, goal in list(taken_along(bench, stands, output, before, "current_limit")):
                stands[other] = goal
                add(other, output, number)
    return found


def told_limits(feed: Feed, current: float | None) -> dict[OutputName, float]:
    """What each output of an input is told [A] for the input's limit to be `current` [A]; None: to be the one
    that was settled.
    """
    part = 1.0 if current is None else current / feed.limit
    return {each.output: round(each.current_limit * part, DIGITS) for each in feed.outputs}


def whole_limit(feed: Feed, stands: Mapping[OutputName, float]) -> float:
    """The current limit of an input [A] where its outputs have these [A]."""
    return (sum if feed.arrangement == "parallel" else min)(stands[name] for name in feed.names)


class Apart(NamedTuple):
    """Two outputs of a coupled group whose settled limits cannot be told: how far apart they are to be, and
    what can be reached from the lowest. As the second's less the first's [A], by ratio the second's over the
    first's [1].
    """

    supply: str
    number: int
    by: str
    outputs: tuple[OutputName, OutputName]
    wanted: float
    low: float
    high: float


def out_of_reach(bench: Bench, set_points: SetPoints) -> Iterator[Apart]:
    """Coupled limits that no order of telling takes from the lowest to what was settled. Those that are not
    settled, or lie outside what an output can be set to, are left out.
    """
    each = (group.apart() for group in _groups(bench, set_points))
    return (apart for apart in each if apart is not None)


def limits_in_order(
    bench: Bench, set_points: SetPoints
) -> dict[OutputName, tuple[tuple[OutputName, float], ...]]:
    """Output -> which limits are told, in order, when its turn comes, all of them standing at their lowest
    before: its own; of coupled ones, with the first of them, all that take the group to what was settled.

    Of outputs of which `out_of_reach` tells, each is told its own.
    """
    found: dict[OutputName, tuple[tuple[OutputName, float], ...]] = {
        each.output: ((each.output, each.current_limit),)
        for feed in set_points.values()
        for each in feed.outputs
    }
    for group in _groups(bench, set_points):
        if group.apart() is None:
            found.update(dict.fromkeys(group.used, ()))
            found[group.used[0]] = group.told[0]
    return found


def _groups(bench: Bench, set_points: SetPoints) -> Iterator[_Group]:
    """Coupled limits of which more than one is used, where all of those are settled, and in range."""
    settled = settled_limits(set_points)
    for supply, number, used in tied_limits(bench, list(settled)):
        own = {output: settled[output] for output in used}
        if all(math.isfinite(limit) and limit in bench.output(each).current for each, limit in own.items()):
            yield _Group(bench, supply, number, own)


@dataclass(frozen=True)
class _Group:
    """Coupled limits and what was settled for them [A], as distances from the lowest of each output: by step
    in A, by ratio in natural logarithms, so that either way a change shifts all of a group by as much, as far
    as their ranges let them.
    """

    bench: Bench
    supply: str
    number: int
    settled: Mapping[OutputName, float]

    @property
    def by(self) -> Literal["step", "ratio"]:
        return self.bench.supplies[self.supply].coupled[self.number].by

    @property
    def used(self) -> tuple[OutputName, ...]:
        return tuple(self.settled)

    @cached_property
    def order(self) -> list[OutputName]:
        """The outputs that move each other, the one with the narrowest range first. By ratio a limit of 0 is
        moved by none and moves none.
        """
        own = [each for each in self.used if self.by == "step" or self.low(each) > 0.0]
        return sorted(own, key=self.width)

    def low(self, output: OutputName) -> float:
        return self.bench.output(output).current.low

    def distance(self, output: OutputName, limit: float) -> float:
        low = self.low(output)
        return limit - low if self.by == "step" else math.log(limit / low)

    def limit(self, output: OutputName, distance: float) -> float:
        reach = self.bench.output(output).current
        limit = reach.low + distance if self.by == "step" else reach.low * math.exp(distance)
        return min(max(limit, reach.low), reach.high)

    def width(self, output: OutputName) -> float:
        return self.distance(output, self.bench.output(output).current.high)

    def target(self, output: OutputName) -> float:
        return self.distance(output, on_grid(self.bench, output, self.settled[output]))

    def spare(self, narrow: OutputName, wide: OutputName) -> float:
        """How much further from its lowest the wider one of two can be than the narrower one."""
        return self.width(wide) - self.width(narrow)

    def apart(self) -> Apart | None:
        """Two outputs that cannot be so far apart; None: the group gets where it is to be.

        A wider range leaves its output no further behind, and no further ahead than what it is wider by: both
        are so at the lowest, and neither a shift nor a stop at an end of a range changes it.
        """
        for narrow, wide in pairwise(self.order):
            goal, spare = self.target(wide) - self.target(narrow), self.spare(narrow, wide)
            slack = ROUNDING + self._half_step(narrow) + self._half_step(wide)
            if not -slack <= goal <= spare + slack:
                return self._apart(narrow, wide, 0.0, spare)
        _, stands = self.told
        off = [each for each in self.order if not self._there(each, stands)]
        if not off:
            return None
        other = next(each for each in self.order if each != off[0])
        got = self.distance(off[0], stands[off[0]]) - self.distance(other, stands[other])
        return self._apart(other, off[0], got, got)

    def _half_step(self, output: OutputName) -> float:
        """By how far an output may be off for its grid, as a distance."""
        half = limit_step(self.bench, output) / 2.0
        return half if self.by == "step" else half / self.low(output)

    def _apart(self, first: OutputName, second: OutputName, least: float, most: float) -> Apart:
        one, other = self.low(first), self.low(second)
        outputs = first, second
        wanted = self.settled[second], self.settled[first]
        if self.by == "step":
            low, between = other - one, wanted[0] - wanted[1]
            return Apart(self.supply, self.number, "step", outputs, between, low + least, low + most)
        low, between = other / one, wanted[0] / wanted[1]
        reach = low * math.exp(least), low * math.exp(most)
        return Apart(self.supply, self.number, "ratio", outputs, between, *reach)

    def _there(self, output: OutputName, stands: Mapping[OutputName, float]) -> bool:
        """Whether an output stands where it is to be, to the nearest step of its grid."""
        step = limit_step(self.bench, output)
        allowed = step / 2.0 + ROUNDING * self.bench.output(output).current.high
        return abs(stands[output] - self.settled[output]) <= allowed

    @cached_property
    def told(self) -> tuple[tuple[tuple[OutputName, float], ...], dict[OutputName, float]]:
        """What is told, in order, and where the limits stand then [A].

        All are shifted by the one of the widest range, which no shift stops. From the widest pair to the
        narrowest, each is brought as far apart as it is to be: up until the narrower one stops at its
        highest, or down until it stops at its lowest, and on from there by the wider one alone; the wider
        ones are not stopped by it, and keep their distances. What is left then is a part of a step of a grid:
        an output of a finer one is told its own.
        """
        stands = {output: self.low(output) for output in self.used}
        found: list[tuple[OutputName, float]] = []

        def tell(output: OutputName, limit: float) -> None:
            before, stands[output] = stands[output], on_grid(self.bench, output, limit)
            stands.update(taken_along(self.bench, stands, output, before, "current_limit"))
            found.append((output, limit))

        for narrow, wide in reversed(list(pairwise(self.order))):
            goal = self.target(wide) - self.target(narrow)
            apart = self.distance(wide, stands[wide]) - self.distance(narrow, stands[narrow])
            if abs(goal - apart) > ROUNDING:
                stop = self.width(narrow) + goal if goal > apart else goal
                widest, by = self.order[-1], stop - self.distance(wide, stands[wide])
                tell(widest, self.limit(widest, self.distance(widest, stands[widest]) + by))
        for output in self.order[-1:]:
            tell(output, self.settled[output])
        for output in sorted(self.order, key=lambda each: -limit_step(self.bench, each)):
            if not self._there(output, stands):
                tell(output, self.settled[output])
        # From 0, by ratio, a limit moves no other: these come last.
        for output in self.used:
            if output not in self.order:
                tell(output, self.settled[output])
        return tuple(found), stands
