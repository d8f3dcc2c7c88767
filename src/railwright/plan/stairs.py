"""How outputs can play a line of their set point: by their own slew, or in stairs that the host times."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import NamedTuple

from railwright.documents.bench import Bench
from railwright.documents.figures import rated_slew
from railwright.documents.output_name import OutputName
from railwright.plan.line_time import link_time
from railwright.plan.set_points import Feed, SetPoints
from railwright.plan.timeline import Action, Timeline
from railwright.traces import Span

AT_ONCE = 1e-9
"""Instants less apart are one, and what is told of one input then is one thing [s]."""

STAIR = 0.02
"""Time that one set point with its verification is taken to need where the bench does not say [s]: the
shortest between two that the host plays.
"""

WATCH_EVERY = 0.05
"""Longest interval at which a run looks at the outputs, however seldom a reading is recorded [s]."""


def looks_per_reading(every: float) -> int:
    """How often a run asks for the outputs' status for each reading that it records every so long [s]."""
    return max(1, math.ceil(every / WATCH_EVERY))


EXCHANGES = 2e-3
"""So much later a jump may begin where other outputs are told something at the same instant: a line that was
told on time would cut it short [s] (chosen: six outputs, each told its slew and its voltage, on a fast
network).
"""

EXACT = 1e-6
"""Part of a time that may be missing, by the rounding of sums of times."""

ROUNDED = 1e-9
"""Part by which a slew may lie beside what an output can be programmed to, by the rounding of its change and
time: (4.6 - 2.7) V in 1.9 s is a little less than 1 V/s (chosen).
"""

MOST_STAIRS = 1000
"""A line of more stairs is rehearsed as a line: each stair is then a thousandth of it at most."""

LONGEST_STAIRS = 100_000
"""Stairs of one line at most: of a line over days each is below what an output resolves."""


def exchange_of(outputs: Iterable[OutputName], bench: Bench) -> float:
    """Shortest time between two set points that the host sends to these outputs [s]: the longest exchange of
    their supplies; where the bench gives none, what their serial lines take beside the readings, if that is
    long.
    """
    supplies = [bench.supply_of(output) for output in outputs]
    return max(
        max(STAIR, link_time(supply)) if supply.exchange is None else supply.exchange for supply in supplies
    )


def slew_range(feed: Feed, bench: Bench) -> tuple[float, float] | None:
    """Lowest and highest slew of the input's voltage that its outputs can be programmed to [V/s]; None: they
    cannot.
    """
    lowest, highest = 0.0, math.inf
    for output in feed.outputs:
        slew = bench.output(output.output).slew
        if slew is None:
            return None
        lowest, highest = max(lowest, slew.low / output.share), min(highest, slew.high / output.share)
    return (lowest, highest) if lowest <= highest else None


def too_flat(rate: float, slews: tuple[float, float]) -> bool:
    """Whether a slew [V/s] is below those that outputs can be programmed to, by more than rounding."""
    return rate < slews[0] * (1.0 - ROUNDED)


def too_fast(rate: float, slews: tuple[float, float]) -> bool:
    """Whether a slew [V/s] is above those that outputs can be programmed to, by more than rounding."""
    return rate > slews[1] * (1.0 + ROUNDED)


def set_error(feed: Feed, bench: Bench, voltage: float) -> float:
    """Bound of the error with which an input is set to a voltage [V]; 0: not known."""
    errors = []
    for points in feed.outputs:
        if (programming := bench.output(points.output).programming) is None:
            return 0.0
        accuracy = programming.voltage
        errors.append(accuracy.of_value * abs(voltage) + accuracy.offset / points.share)
    return min(errors, default=0.0)


def stair_count(change: float, over: float, slews: tuple[float, float] | None, apart: float = STAIR) -> int:
    """Stairs in which a line of `change` [V] in `over` [s] is played: as many as the host keeps, at most
    `LONGEST_STAIRS`; 0: by the outputs' own slew.

    apart: shortest time between two that the host keeps [s], by `exchange_of`.
    """
    if over <= 0.0 or change == 0.0 or (slews and not too_flat(abs(change) / over, slews)):
        return 0
    return min(LONGEST_STAIRS, max(1, math.floor(over / apart * (1.0 + EXACT))))


def stairs_of(
    action: Action, level: float, slews: tuple[float, float] | None, apart: float = STAIR
) -> tuple[tuple[float, float], ...]:
    """(time [s], set point [V]) of each stair in which the host plays a line from `level` [V] on; empty: the
    outputs play it themselves. A single one comes at once. apart: see `stair_count`.
    """
    count = stair_count(action.voltage - level, action.over, slews, apart)
    if count == 1:
        return ((action.time, action.voltage),)
    change = action.voltage - level
    return tuple(
        (action.time + action.over * n / count, level + change * n / count) for n in range(1, count + 1)
    )


def too_steep(action: Action, level: float, slews: tuple[float, float] | None) -> bool:
    """Whether a line from `level` [V] on is steeper than the outputs can be programmed to [V/s]."""
    return (
        slews is not None and action.over > 0.0 and too_fast(abs(action.voltage - level) / action.over, slews)
    )


def in_stairs(
    timeline: Timeline,
    feeds: SetPoints,
    bench: Bench,
    listed: Mapping[tuple[int, str], float] = MappingProxyType({}),
) -> Timeline:
    """The timeline with stairs in place of the lines that the outputs cannot play by their own slew, and with
    a jump in place of those that are steeper than it. listed: as of `after_jumps`.
    """
    slews = {name: slew_range(feed, bench) for name, feed in feeds.items()}
    apart = {name: exchange_of(feed.names, bench) for name, feed in feeds.items()}
    actions: list[Action] = []
    for action, level, by_list in _walked(timeline, listed):
        name = action.input
        # Of what a list plays the host tells nothing, not even the last stair, at the very end of the step.
        if action.kind != "line" or name not in slews or by_list:
            actions.append(action)
            continue
        if action.voltage == level:
            # A line to where the set point is told to be anyway: it may still be on its way there.
            actions.append(replace(action, over=0.0))
            continue
        if stair_count(action.voltage - level, action.over, slews[name], apart[name]) > MOST_STAIRS:
            actions.append(action)
            continue
        stairs = stairs_of(action, level, slews[name], apart[name])
        if not stairs and too_steep(action, level, slews[name]):
            stairs = ((action.time, action.voltage),)  # told at once, and played at the highest slew
        told = [replace(action, time=time, voltage=voltage, over=0.0) for time, voltage in stairs]
        actions += told or [action]
    return replace(timeline, actions=tuple(sorted(actions, key=lambda action: action.time)))


def after_jumps(
    timeline: Timeline, feeds: SetPoints, bench: Bench, listed: Mapping[tuple[int, str], float]
) -> Timeline:
    """The timeline with each line that the outputs play by their own slew, and that is asked to begin while a
    jump of its input goes on, begun when the jump is over, so that it ends on time.

    What is told while a set point is still on its way takes the place of it: the jump would be left out, and
    the line would begin where the input stood before. So it does where the jump is smaller than the error of
    the set point: one exchange more would move the line by more. A line for which the jump leaves too little
    time goes with it, to where the line leads: at its own slew the input would stay far away for long.
    listed: step and input that point lists play, with the voltage that they end with [V].
    """
    jumped: dict[str, _Jump] = {}  # the last jump of each input, until a line or a list takes over
    following: dict[str, float] = {}  # when an input is told something else
    until: list[float] = []
    for each in reversed(timeline.actions):
        until.append(following.get(each.input, math.inf))
        following[each.input] = each.time
    actions: list[Action] = []
    for (action, stands, by_list), ends in zip(_walked(timeline, listed), reversed(until), strict=True):
        name = action.input
        before = jumped.pop(name, None)
        if action.kind == "line" and not by_list and name in feeds:
            if before is not None:
                action = _after(action, stands, before, feeds[name], bench, ends)
            if (jump := _jump_of(action, stands, before, feeds[name], bench)) is not None:
                jumped[name] = jump
        actions.append(action)
    return replace(timeline, actions=tuple(actions))


def _walked(
    timeline: Timeline, listed: Mapping[tuple[int, str], float]
) -> Iterator[tuple[Action, float, bool]]:
    """Every action, where its input is told to stand before it [V], and whether a point list plays it."""
    levels: dict[str, float] = {}
    for action in timeline.actions:
        key = action.step, action.input
        by_list = key in listed and action.time < timeline.spans[action.step].end
        yield action, levels.get(action.input, 0.0), by_list
        asked = 0.0 if action.kind == "off" else action.voltage
        levels[action.input] = listed[key] if by_list else asked


class _Jump(NamedTuple):
    """A jump of an input's set point: when it begins and when it is over [s], and how far it leads [V]."""

    time: float
    ends: float
    change: float

    def left(self, time: float) -> float:
        """What of it is still to come at an instant [V]."""
        if time >= self.ends - AT_ONCE:
            return 0.0
        return self.change * (self.ends - time) / (self.ends - self.time)


def _jump_of(action: Action, stands: float, before: _Jump | None, feed: Feed, bench: Bench) -> _Jump | None:
    """The jump that an action is (a line too steep for the outputs' slew counts as one), or that its stairs
    end with; None: it is a line within their slew, or they have none. stands: the set point before it [V].
    before: the jump before it.
    """
    if (slews := slew_range(feed, bench)) is None:
        return None
    time, change = action.time, action.voltage - stands
    if action.over > 0.0 and (stairs := stairs_of(action, stands, slews, exchange_of(feed.names, bench))):
        # The last of them is a jump where the line ends.
        time, change = stairs[-1][0], change / len(stairs)
    elif action.over == 0.0 or too_steep(action, stands, slews):
        change += before.left(time) if before is not None else 0.0
    else:
        return None
    takes = _jump_time(change, feed, bench, slews[1])
    return _Jump(time, time + takes + (EXCHANGES if takes else 0.0), change)


def _after(action: Action, stands: float, jump: _Jump, feed: Feed, bench: Bench, until: float) -> Action:
    """A line, as it is told after a jump that may still go on when it begins. until: when its input is told
    something else [s], which may be before it has come to its end.
    """
    slews, exchange = slew_range(feed, bench), exchange_of(feed.names, bench)
    left = jump.left(action.time)
    if action.over == 0.0 or abs(left) <= set_error(feed, bench, stands):
        return action
    if stairs_of(action, stands, slews, exchange):
        return action
    takes = jump.ends - action.time
    behind = jump.ends - jump.time - EXCHANGES
    later = replace(action, time=jump.ends, over=action.over - takes, behind=behind)
    left = min(later.over, until - later.time)
    if left <= takes or too_steep(later, stands, slews):
        return replace(action, over=0.0)
    return action if stairs_of(later, stands, slews, exchange) else later


def _jump_time(change: float, feed: Feed, bench: Bench, slew: float) -> float:
    """How long the set point of an input takes for a jump [V] at this slew [V/s]: as long as the slowest of
    its outputs does, whose own rise and fall are from 10 to 90 % of full scale [s].
    """
    takes = abs(change) / slew
    for points in feed.outputs:
        output = bench.output(points.output)
        own = rated_slew(output, output.rise if change > 0.0 else output.fall.loaded)
        takes = max(takes, abs(change) * points.share / (own or math.inf))
    return takes


def highest_stair(timeline: Timeline, span: Span, feed: Feed, bench: Bench) -> float:
    """Height of the highest stair in which this input's lines within a step are played [V]; 0: none is."""
    slews, apart, level, highest = slew_range(feed, bench), exchange_of(feed.names, bench), 0.0, 0.0
    for action in timeline.actions:
        if action.input != feed.input:
            continue
        change = action.voltage - level
        if action.kind == "line" and span.start <= action.time <= span.end:
            count = stair_count(change, action.over, slews, apart)
            highest = max(highest, abs(change) / count if count else 0.0)
        level = 0.0 if action.kind == "off" else action.voltage
    return highest
