"""What set points that were asked for tell of readings: what stood before a step that begins with one, and
levels so brief that they can fall between two apertures.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from railwright.measures.level_change import LevelChange
    from railwright.measures.measure import Channel
    from railwright.measures.signal import Array, Signal, View
    from railwright.traces import Places

AT_ONCE = 1e-9
"""What is told so long before a step begins is told as it begins [s]."""

LONGER = 2.0
"""So many times as long as it was asked for may an output stand beside its levels before and after it, as the
way back takes its time: chosen. Where that takes longer, no aperture misses all of it.
"""

IN_A_ROW = 16
"""Levels in a row that are looked at together: chosen."""

SHOWN = 0.1
"""So much of a level that no aperture holds wholly shows in the readings beside it at least: chosen."""

ALIKE = 1e-6
"""Part by which brief levels differ at most that are equal."""


class Before(NamedTuple):
    """What stood before a step that begins with something that its input is told: the rows from first to last
    that surely show nothing of the step, and their mean. open: what of the step's integral they may hold all
    the same. last is None: nothing stood.
    """

    first: int = 0
    last: int | None = None
    level: float = 0.0
    open: float = 0.0

    def place(self, rows: Places) -> int | None:
        """Which of these rows is the last that shows nothing of the step; None: nothing stood."""
        return None if self.last is None else int((rows <= self.last).sum()) - 1


def before_step(view: View, signal: Signal) -> Before:
    """What stood before a step: a reading that reaches over its beginning holds some of both.

    By the trapezoid rule, of a change at the beginning 0.2 updates would count before it, in the mean over
    the phases of the readings. But where the input stood still before it, all that readings show beside that
    is of the step. It did not where something was told less than two updates before: readings need not show
    that yet. What moved at most an update before the step leaves open so much less; so does a contact that
    begins to move with it: what stood before goes on for a while.
    """
    import numpy as np

    update = 0.0 if view.model.exact else view.timing()[0]
    if view.told_before >= update:
        return Before()
    stamps = signal.time - view.shift()[0]
    until = view.begin - view.model.clock
    last = int(np.searchsorted(stamps, until, side="right")) - 1
    first, still = (int(np.searchsorted(stamps, until - n * update, side="right")) for n in (1, 2))
    first, still = min(first, last), min(still, last - 1)
    stood = view.told_before <= AT_ONCE and view.stood >= 2.0 * update and not view.lags
    if still >= 0 and stood:
        shown = signal.values[still : last + 1]
        if float(np.ptp(shown)) <= 8.0 * signal.noise + 2.0 * signal.step:
            return Before(first, last, float(np.mean(signal.values[first : last + 1])))
    around = signal.values[(stamps > until - 2.0 * update) & (stamps < until + 2.0 * update)]
    varies = float(np.ptp(around)) if around.size else 0.0
    # A level that was left again as the step begins shows in part only: half of it, where it is that brief.
    part = 1.0 if view.told_before <= AT_ONCE and view.stood < 2.0 * update else 0.5
    return Before(open=varies * (update - view.told_before) * part)


class Brief(NamedTuple):
    """A level of the set point that stands briefly: from when on, for how long [s], how far it lies beyond
    both its neighbours [V], and the ratio of it to the nearer of them.
    """

    time: float
    lasts: float
    away: float
    ratio: float

    def most(self, channels: tuple[Channel, ...], largest: float) -> float:
        """How far a channel, or a product of two, which is `largest` nearby, goes at most at this level: a
        load stops, draws a constant power, or follows as a resistance does.
        """
        if channels == ("voltage",):
            return self.away
        if self.ratio > 1.0:
            follows = self.ratio ** len(channels) - 1.0
        else:
            follows = 1.0 / self.ratio - 1.0 if self.ratio > 0.0 and len(channels) == 1 else 0.0
        return largest * max(1.0, follows)


def brief_levels(changes: tuple[LevelChange, ...], shorter: float) -> list[Brief]:
    """The levels, or up to IN_A_ROW in a row, that stand for less than `shorter` [s] beyond what is before
    and after them: of those that overlap the one that takes the most away.
    """
    found: list[Brief] = []
    first = 0
    while first < len(changes):
        best, behind, largest = None, first + 1, 0.0
        begin, low, high = changes[first], math.inf, -math.inf
        for last in range(first + 1, min(len(changes), first + 1 + IN_A_ROW)):
            end, level = changes[last], changes[last - 1].goal
            if (lasts := end.time - begin.time) >= shorter:
                break
            low, high = min(low, level), max(high, level)
            over, under = high - max(begin.start, end.goal), min(begin.start, end.goal) - low
            if (size := max(over, under) * min(lasts, shorter - lasts)) <= largest:
                continue
            level, beside = (high, high - over) if over > under else (low, low + under)
            best = Brief(begin.time, lasts, max(over, under), level / beside if beside > 0.0 else 0.0)
            behind, largest = last, size
        if best is not None:
            found.append(best)
        first = behind
    return found


def beside_apertures(
    view: View, signal: Signal, channels: tuple[Channel, ...], factors: tuple[Signal, Signal] | None
) -> Array:
    """Bounds of what readings do not tell of brief levels in an integral; equal ones, which may all meet the
    readings alike, are one.

    channels: what the signal is, or of which two it is the product. Of a level that stands for w and D beyond
    its neighbours, the gap g between two apertures of length a holds D g, of which the trapezoid rule knows
    what the apertures beside it have seen: D (w - g) / a, over g. It misses D g (1 - (w - g) / a), at w < g
    all of it. factors: voltage and current of a product: at both edges of a level that no aperture need hold
    wholly, it misses up to a quarter of the jumps of the two, which show in part only.
    """
    import numpy as np

    from railwright.measures.signal import REACHED

    update, least, _ = (0.0, 0.0, 0.0) if view.model.exact else view.timing()
    apart = max(update, view.interval) if update else 0.0
    gap = max(0.0, apart - least)
    if gap <= 0.0 or not view.changes:
        return np.zeros(0)
    sums: dict[tuple[int, int], float] = {}
    for each in brief_levels(view.changes, apart if factors is None else apart + least):
        reach = 2.0 * apart + least + view.shift()[1]
        since, until = each.time - reach, each.time + each.lasts + reach
        near = signal.between(since, until).values
        if not near.size:
            continue
        away = each.most(channels, float(np.max(np.abs(near))))
        part = min(1.0, (apart - each.lasts) / least) if least > 0.0 else 1.0
        bound = away * max(0.0, min(gap * part, LONGER * each.lasts))
        if factors is not None and each.lasts > gap:
            volts, amperes = (float(np.ptp(own.between(since, until).values)) for own in factors)
            bound += min(each.lasts, apart) / 2.0 * each.away**2 * amperes / max(volts, each.away * SHOWN)
        key = round(math.log(max(each.lasts, ALIKE)) / ALIKE), round(math.log(max(away, ALIKE)) / ALIKE)
        sums[key] = sums.get(key, 0.0) + bound
    return np.array([*sums.values()]) / REACHED
