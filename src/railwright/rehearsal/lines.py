"""How outputs can play a line of their set point: by their own slew, or in stairs that the host times."""

from __future__ import annotations

import math

from railwright.documents.bench import Bench
from railwright.rehearsal.setpoints import Feed
from railwright.rehearsal.timeline import Timeline
from railwright.traces import Span

STAIR = 0.02
"""Time between two set points of a line that the host plays, where the output has no slew for it [s]."""


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


def stair_count(change: float, over: float, slews: tuple[float, float] | None) -> int:
    """Stairs in which a line of `change` [V] in `over` [s] is played; 0: by the outputs' own slew."""
    if over <= 0.0 or change == 0.0 or (slews and abs(change) / over >= slews[0]):
        return 0
    return max(1, round(over / STAIR))


def highest_stair(timeline: Timeline, span: Span, feed: Feed, bench: Bench) -> float:
    """Height of the highest stair in which this input's lines within a step are played [V]; 0: none is."""
    slews, level, highest = slew_range(feed, bench), 0.0, 0.0
    for action in timeline.actions:
        if action.input != feed.input:
            continue
        change = action.voltage - level
        if action.kind == "line" and span.start <= action.time <= span.end:
            count = stair_count(change, action.over, slews)
            highest = max(highest, abs(change) / count if count else 0.0)
        level = 0.0 if action.kind == "off" else action.voltage
    return highest
