"""What the host keeps of the set points that it sends one by one, each with its verification."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import NamedTuple

from railwright.plan.sending import send_times
from railwright.plan.stairs import AT_ONCE, EXACT, stair_count, stairs_of, too_fast
from railwright.plan.timeline import Action
from railwright.quantities import Statement, state


class Host(NamedTuple):
    """What the host can do of some set points of one input.

    error: largest deviation of what the outputs are told from what is asked [V], jumps apart; why: what it
    comes from, '' where there is none. asked: set points; left_out: those of them that are not sent, because
    the next one is due when the host is free again; late: those that are sent after their time; closest:
    shortest time between two [s], inf where there are not two. in_stairs: whether the error is the height of
    a stair, of a line that the outputs have no slew for.
    """

    error: float
    why: str
    asked: int
    left_out: int
    late: int
    closest: float
    in_stairs: bool = False

    @property
    def keeps(self) -> bool:
        """Whether every set point is sent at its time."""
        return not (self.left_out or self.late)


def by_host(
    actions: Sequence[Action],
    level: float,
    slews: tuple[float, float] | None,
    apart: float,
    waits: Sequence[float] = (),
) -> Host:
    """What becomes of the actions of one input, from `level` [V] on, where the host sends each at its time.

    slews: of the outputs [V/s]; None: they have none. apart: shortest time between two set points [s]. waits:
    times at which everything stays until a trigger or a key comes; what comes behind is never too soon.
    """
    worst: tuple[float, bool, Callable[[], str]] = 0.0, False, str  # off [V], in stairs, why
    asked, closest = 0, math.inf
    due: list[Action] = []
    kept, kept_level, told = -math.inf, level, -math.inf
    for action in actions:
        change = abs(action.voltage - level)
        count = stair_count(change, action.over, slews, apart)
        alone = count <= 1  # else in stairs, the last one at its end
        first = action.time if alone else action.time + action.over / count
        last = first if alone else action.time + action.over
        if any(told <= wait <= first for wait in waits):
            kept = told = -math.inf
        gap = first - told
        if gap > AT_ONCE:
            asked += max(1, count)
            closest = min(closest, gap)
        elif due and due[-1].kind == "line":
            due.pop()  # one message
        stepped = stairs_of(action, level, slews, apart)
        due += [replace(action, time=at, voltage=to) for at, to in stepped] or [action]
        soon = AT_ONCE < first - kept < apart * (1.0 - EXACT)
        off = [worst]
        if soon:
            off.append((abs(action.voltage - kept_level), False, partial(_too_soon, gap, apart)))
        if count:
            height = change / count
            off.append((height, True, partial(_in_stairs, action.over, count, height)))
        rate = change / action.over if action.over else 0.0
        if slews and count == 0 and too_fast(rate, slews):
            off.append((change * (1.0 - slews[1] / rate), False, partial(_too_steep, rate, slews[1])))
        worst = max(off, key=lambda each: each[0])
        if not soon or not alone:
            kept, kept_level = last, action.voltage
        level, told = action.voltage, last
    sent = send_times(due, {each.input: apart for each in due}, waits)
    left_out = sum(time is None for time in sent)
    late = sum(time is not None and time - each.time > AT_ONCE for each, time in zip(due, sent, strict=True))
    error, stairs, why = worst
    return Host(error, why(), asked, left_out, late, closest, stairs)


def _too_soon(gap: float, exchange: float) -> Statement:
    """That a set point follows another sooner [s] than the host can exchange them [s]."""
    return state(
        "set points {apart} apart, the host keeps {exchange} between two",
        apart=(gap, "s"),
        exchange=(exchange, "s"),
    )


def _in_stairs(over: float, count: int, height: float) -> Statement:
    """That a line of so long [s] goes in stairs of a height [V]."""
    return state(
        "a line of {duration} goes in {stairs} of {height}",
        duration=(over, "s"),
        stairs="one step" if count == 1 else state("{stairs} stairs", stairs=count),
        height=(height, "V"),
    )


def _too_steep(rate: float, slew: float) -> Statement:
    """That a line is steeper than the outputs' slew [V/s]."""
    return state(
        "{rate} is asked, the outputs' slew is {slew} at most", rate=(rate, "V/s"), slew=(slew, "V/s")
    )
