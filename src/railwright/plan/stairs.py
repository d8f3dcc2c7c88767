"""How outputs can play a line of their set point: by their own slew, or in stairs that the host times."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace
from types import MappingProxyType

from railwright.documents.bench import Bench
from railwright.documents.output_name import OutputName
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


EXACT = 1e-6
"""Part of a time that may be missing, by the rounding of sums of times."""

MOST_STAIRS = 1000
"""A line of more stairs is rehearsed as a line: each stair is then a thousandth of it at most."""

LONGEST_STAIRS = 100_000
"""Stairs of one line at most: of a line over days each is below what an output resolves."""


def exchange_of(outputs: Iterable[OutputName], bench: Bench) -> float:
    """Shortest time between two set points that the host sends to these outputs [s]: the longest exchange of
    their supplies.
    """
    given = (bench.supply_of(output).exchange for output in outputs)
    return max(STAIR if exchange is None else exchange for exchange in given)


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
    if over <= 0.0 or change == 0.0 or (slews and abs(change) / over >= slews[0]):
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
    return slews is not None and abs(action.voltage - level) > slews[1] * action.over > 0.0


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
    levels: dict[str, float] = {}
    actions: list[Action] = []
    for action in timeline.actions:
        name, level = action.input, levels.get(action.input, 0.0)
        levels[name] = 0.0 if action.kind == "off" else action.voltage
        if (action.step, name) in listed and action.time < timeline.spans[action.step].end:
            levels[name] = listed[action.step, name]
        if action.kind != "line" or name not in slews:
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
    """The timeline with each line that the outputs play by their own slew, and that begins at the instant of
    a jump of its input, begun when the jump is over, so that it ends on time.

    What is told while a set point is still on its way takes the place of it: the jump would be left out, and
    the line would begin where the input stood before. So it does where the jump is smaller than the error of
    the set point: one exchange more would move the line by more. listed: step and input that point lists
    play, with the voltage that they end with [V].
    """
    slews = {name: slew_range(feed, bench) for name, feed in feeds.items()}
    level: dict[str, float] = {}
    jumped: dict[str, tuple[float, float]] = {}  # input -> when it has jumped last, and how far [V]
    actions: list[Action] = []
    for action in timeline.actions:
        name, stands = action.input, level.get(action.input, 0.0)
        level[name] = 0.0 if action.kind == "off" else action.voltage
        by_list = (action.step, name) in listed and action.time < timeline.spans[action.step].end
        if by_list:
            level[name] = listed[action.step, name]
        if action.kind != "line" or by_list:
            jumped.pop(name, None)
        elif action.over == 0.0:
            time, change = jumped.get(name, (action.time, 0.0))
            change = change if action.time - time < AT_ONCE else 0.0
            jumped[name] = action.time, change + action.voltage - stands
        elif name in feeds and (own := slews[name]):
            exchange = exchange_of(feeds[name].names, bench)
            if stairs := stairs_of(action, stands, own, exchange):
                # The last of them is a jump where the line ends.
                jumped[name] = stairs[-1][0], (action.voltage - stands) / len(stairs)
            elif (
                name in jumped
                and action.time - jumped[name][0] < AT_ONCE
                and abs(jumped[name][1]) > set_error(feeds[name], bench, stands)
            ):
                takes = _jump_time(jumped[name][1], feeds[name], bench, own[1])
                later = replace(action, time=action.time + takes, over=action.over - takes, behind=takes)
                if later.over > takes and not (
                    too_steep(later, stands, own) or stairs_of(later, stands, own, exchange)
                ):
                    action = later
        actions.append(action)
    return replace(timeline, actions=tuple(actions))


def _jump_time(change: float, feed: Feed, bench: Bench, slew: float) -> float:
    """How long the set point of an input takes for a jump [V] at this slew [V/s]: as long as the slowest of
    its outputs does, whose own rise and fall are from 10 to 90 % of full scale [s].
    """
    takes = abs(change) / slew
    for points in feed.outputs:
        output = bench.output(points.output)
        own = output.rise if change > 0.0 else output.fall.loaded
        takes = max(takes, abs(change) * points.share * (own or 0.0) / (0.8 * output.voltage.high))
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
