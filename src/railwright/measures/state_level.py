"""High and low state level of the voltage in a step, by the histogram-mode method of IEEE 181."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from railwright.measures.hiding import between_polls
from railwright.measures.integral import covered
from railwright.measures.measure import measure
from railwright.measures.outcome import CannotMeasure, Measured
from railwright.measures.swinging import is_held
from railwright.measures.wording import amount

if TYPE_CHECKING:
    from railwright.measures.levels import Levels
    from railwright.measures.signal import Array, Signal, View
    from railwright.traces import Flags

LEAST_VALUES = 3
"""Readings that lie wholly in a step, at least, for their levels to be those of the step."""

LEAST_AMPLITUDE = 0.02
"""A waveform that varies by less than this part of its largest value is in one state."""

STAYS = 0.24
"""Part of the values in a half that lie at its level, at least, where that is a state: four times what a
straight line through the half leaves in the level's three bins.
"""

STEADY = 0.5
"""Part of the values at a level that lie within noise and resolution of it, at least, where the voltage stays
there and does not just pass slowly, as at the crest of a ripple (half of them: what the median goes by).
"""

NO_STATE = 1e-3
"""What lasts for less is an edge, and no state [s] (chosen)."""

TAKES_HOLD = 5e-3
"""For less than this the voltage from before a step may still stand in it until its first jump takes hold (an
output that comes up to what a cell holds there, say): that is no state, as no reading shows it [s] (chosen).
"""

AS_FREQUENT = 0.1
"""Levels whose numbers of values differ by less than this part are about as frequent: the usual tolerance of
durations, by which a step is played. Which of them is the mode is no property of the device then.
"""

BRIEF = 0.05
"""Part of the step below which passing through a half of the range without staying there is no state."""


@measure("V", "high state level", ("voltage",), level_of="voltage")
def high_state_level(view: View) -> Measured:
    """Level of the voltage's upper state.

    Computed: the median of the values in the fullest of the upper 50 of 100 bins, and in the two beside it.
    Where all values differ by less than 2 % of the largest (or than noise and resolution explain), there is
    one state and its level is the median. A half in which the voltage nowhere stays (less than 24 % of its
    values lie at one level) has no state: if it takes less than 5 % of the step, the other half's is the
    only one, else there is no level. In a rehearsal two things are no state: an edge shorter than 1 ms, and
    the voltage from before the step where it still stands for less than 5 ms. There is none either where the
    supply's status goes into the limit or out of it three times or more between readings of one level: they
    are means of a voltage that swings; nor where it is in its limit at two readings of one level, or whenever
    one is read that was not asked for, and a load may stop and start again meanwhile; nor where a level
    lies so near the middle of the range that next to nothing, or extremes that means over an aperture do not
    show, decide of which half it is. Where polls leave out readings, and a
    level that was played can fall between them, that is stated beside it; so is a voltage that moves before
    the first reading of a step that begins with a line.
    Window: the step, from the switching-on where it lies in the step; of readings, those that average over
    nothing beside it, of which three at least are needed.
    Uncertainty: 'values beside the level' (values on their way to or from the level lie in its bins as well),
    'levels about as frequent' (at which nine tenths as many values lie as at the fullest, or readings may
    have missed or met one value more; in one state also beside the median).
    Standard: IEEE 181-2011, state levels by the histogram-mode method.
    """
    return _level(view, high=True)


@measure("V", "low state level", ("voltage",), level_of="voltage")
def low_state_level(view: View) -> Measured:
    """Level of the voltage's lower state.

    Computed: as the upper state, of the lower 50 bins.
    Window: as of the upper state.
    Uncertainty: 'values beside the level' (values on their way to or from the level lie in its bins as well),
    'levels about as frequent' (at which nine tenths as many values lie as at the fullest, or readings may
    have missed or met one value more).
    Standard: IEEE 181-2011, state levels by the histogram-mode method.
    """
    return _level(view, high=False)


def _level(view: View, *, high: bool) -> Measured:
    import numpy as np

    from railwright.measures.budget import Budget
    from railwright.measures.levels import state_levels

    inside = view.voltage().evenly(view) if view.model.exact else view.voltage()
    inside = inside.between(view.begin, view.end)
    covered(view, inside)
    if not view.model.exact:
        inside = _of_the_step(view, inside)
    largest = float(np.max(np.abs(inside.values)))
    least = max(LEAST_AMPLITUDE * largest, 8.0 * inside.noise + 2.0 * inside.step)
    levels = state_levels(inside.values, least)
    if not (high or view.model.exact or levels.two_states or view.off_until is None):
        raise CannotMeasure(
            "it is switched on in this step: what it stands at before the first reading is not seen",
            "a recording",
        )
    rivals = 0.0
    while levels.two_states:
        if view.model.exact and (others := _edge_of_the_other(view, inside, high=high)) is not None:
            inside = others
            levels = state_levels(inside.values, least)
            continue
        if (stays := _stays(view, inside.values, levels, high=high)) is not None:
            rivals = stays
            break
        # What is only passed through, as an edge with which the step begins, is no part of its range.
        middle = (float(np.min(inside.values)) + float(np.max(inside.values))) / 2.0
        inside = inside.take(np.flatnonzero((inside.values < middle) == high))
        levels = state_levels(inside.values, least)
    if not levels.two_states:
        rivals = _of_one_state(view, inside, least, levels.low)
    if levels.two_states:
        _of_one_half(view, inside, levels, high=high)
    chosen = levels.high_values if high else levels.low_values
    weights = chosen / np.count_nonzero(chosen)
    budget = Budget(view)
    budget.systematic(inside, weights)
    budget.noise(inside, weights)
    level = levels.high if high else levels.low
    if not view.model.exact:
        budget.bounded("values beside the level", _beside(view, inside, chosen, level))
    if levels.two_states or not view.model.exact:
        budget.bounded("levels about as frequent", rivals)
    states = "two states" if levels.two_states else "one state"
    how = f"histogram mode (IEEE 181) of {inside.time.size} values, {states}"
    hidden = (
        between_polls(view)
        or _at_the_edges(view, inside)
        or {"would_decide": "an instrument with a smaller error"}
    )
    measured = budget.result(level, how, **hidden)
    if measured.unseen and not high:
        # What is not seen may lie lower, down to nothing: no lower limit is met for sure.
        return replace(measured, low=min(measured.low, 0.0))
    return measured


def _edge_of_the_other(view: View, inside: Signal, *, high: bool) -> Signal | None:
    """A computed trace without the half of its range that is not asked for, where nothing of that stays: an
    edge with which the step begins takes its level out of the range, whichever half it is in. None: it stays.
    """
    import numpy as np

    middle = (float(np.min(inside.values)) + float(np.max(inside.values))) / 2.0
    own = (inside.values >= middle) if high else (inside.values < middle)
    if _is_edge(view, ~own):
        return inside.take(np.flatnonzero(own))
    return None


def _is_edge(view: View, half: Flags) -> bool:
    """Whether a half of the range, shape (n,) of evenly spaced values, is an edge: it lasts for less than
    NO_STATE, or it is what stood before the step, up to when its first jump takes hold: within TAKES_HOLD and
    BRIEF of the step, and for less than anything that is asked to stand.
    """
    import numpy as np

    count = int(np.count_nonzero(half))
    lasts = count * (view.end - view.begin) / half.size
    first = lasts < TAKES_HOLD and count < BRIEF * half.size and bool(half[:count].all())
    return lasts < NO_STATE or (first and view.off_until is None and 2.0 * lasts < view.stands)


def _of_the_step(view: View, inside: Signal) -> Signal:
    """Those of the readings in a step that average over nothing beside it, each as often as it is new."""
    from railwright.measures.windows import new_rows

    # A value that averages over the edge of the step is of neither side.
    margin = view.timing()[2] / 2.0 + view.shift()[1]
    inside = inside.between(view.begin + margin, view.end - margin)
    if _windows(view, inside.time) < LEAST_VALUES:
        raise CannotMeasure(
            f"fewer than {LEAST_VALUES} readings lie wholly in {view.called}",
            "a longer step, or faster readings",
        )
    # A reading that is handed over again says no more than it did: how often would be no matter of time.
    new = new_rows(view, inside.time, inside.values)
    return inside.take(new) if new.size >= LEAST_VALUES else inside


def _at_the_edges(view: View, inside: Signal) -> dict[str, str]:
    """What is said where a level that was played is shorter than what no reading of the step's own shows."""
    uncovered = max(float(inside.time[0]) - view.begin, view.end - float(inside.time[-1]))
    if view.model.averages and view.moves_off and _moved(view, inside):
        return {
            "unseen": f"the voltage moves in the {amount(float(inside.time[0]) - view.begin, 's')} at the "
            "beginning of the step in which no reading lies wholly",
            "would_decide": "a recording",
        }
    if not view.model.averages or view.stands >= uncovered:
        return {}
    return {
        "unseen": f"a level that is set for {amount(view.stands, 's')} can lie in the "
        f"{amount(uncovered, 's')} at an edge of the step in which no reading lies wholly",
        "would_decide": "a recording",
    }


def _moved(view: View, inside: Signal) -> bool:
    """Whether the voltage is another in the first reading that lies wholly in the step than before it."""
    import numpy as np

    voltage = view.voltage()
    before = np.flatnonzero(voltage.time < view.begin - view.timing()[2] / 2.0 - view.shift()[1])
    if not before.size:
        return False
    first = float(inside.values[0])
    visible = 8.0 * inside.noise + 2.0 * inside.step
    return abs(first - float(voltage.values[before[-1]])) > max(LEAST_AMPLITUDE * abs(first), visible)


def _of_one_state(view: View, inside: Signal, least: float, level: float) -> float:
    """How far the level of the only state may be off the median of its readings [V]. Raises where the levels
    that were set lie farther apart than those of one state do: whether there are two hangs on one that means
    over an aperture do not show.
    """
    from railwright.measures.levels import median_range
    from railwright.measures.signal import REACHED

    visible = 4.0 * inside.noise + 2.0 * inside.step
    rivals = max(abs(each - level) for each in median_range(inside.values, visible)) / REACHED
    if view.model.exact:
        return rivals
    asked = [each.goal for each in view.changes if each.time < view.end - view.model.clock]
    if asked and view.changes[0].time > view.begin + view.model.clock:
        asked.append(view.changes[0].start)
    reached = [each for each in asked if abs(each - level) < 2.0 * least]
    if reached and max(reached) - min(reached) > least:
        raise CannotMeasure(
            f"levels of {amount(min(reached), 'V')} to {amount(max(reached), 'V')} were set, so far apart "
            "that they are two states, of which readings show one",
            "a recording",
        )
    return rivals


def _of_one_half(view: View, inside: Signal, levels: Levels, *, high: bool) -> None:
    """Raises where it hangs on the extremes of the voltage, which means over an aperture do not show, of
    which half of its range a level is that is about as frequent as the one sought.
    """
    import numpy as np

    from railwright.measures.levels import BINS, places

    values, visible = inside.values, 4.0 * inside.noise + 2.0 * inside.step
    bottom, top = float(np.min(values)), float(np.max(values))
    bound = view.model.voltage_bound
    # What several readings show is no less, and no more, in between; a single one may be of a short peak.
    stays = [np.count_nonzero(np.abs(values - end) <= visible) >= LEAST_VALUES for end in (bottom, top)]
    least = bottom if stays[0] else min(0.0, bottom)
    most = top if stays[1] else max(top, math.inf if bound is None else bound.value + bound.tolerance)
    if view.model.exact:
        least, most = bottom, top
    # Of two levels next to the middle the bins' edge would decide, and of its place noise.
    edge = (top - bottom) / BINS + visible / 2.0
    lowest, highest = (least + top) / 2.0 - edge, (bottom + most) / 2.0 + edge
    fullest = int(np.count_nonzero(levels.high_values if high else levels.low_values))
    # As in `_stays`: of each stay readings meet one value more or less at either end.
    crossed = int(np.count_nonzero(np.diff((values >= (bottom + top) / 2.0).astype(np.int8))))
    for upper in (True, False):
        counts, levels_of = places(values, high=upper)
        near = (levels_of >= lowest) & (levels_of <= highest)
        near &= counts >= max(1, fullest - _slack(view, fullest, 1 + int(crossed)))
        if near.any():
            raise CannotMeasure(
                f"the voltage stays at {amount(float(levels_of[near][0]), 'V')}, so near the middle of its "
                f"range that {_decides(view)} of which state that is",
                "a recording" if view.model.averages else "a step without a level in the middle",
            )


def _decides(view: View) -> str:
    """What decides of which half a level in the middle of the range is, in words."""
    return "extremes which readings do not show decide" if view.model.averages else "next to nothing decides"


def _slack(view: View, fullest: int, visits: int) -> int:
    """By how many values fewer than at the fullest place may lie at one that is about as frequent. visits:
    how often the half is entered; readings meet each stay at a level once more or less at either end.
    """
    return max(0 if view.model.exact else 2 * visits, int(AS_FREQUENT * fullest))


def _beside(view: View, inside: Signal, chosen: Flags, level: float) -> float:
    """How far the level of readings may be off because some of those at it, `chosen` (n,), are on their way
    to or from it [V].
    """
    import numpy as np

    is_held(view, level)
    # Values on their way to or from the level lie in its bins as well, and pull the median.
    values = inside.values[chosen]
    steady = values[np.abs(values - level) <= 4.0 * inside.noise + 2.0 * inside.step]
    # Where few are steady, the level lies between values that are themselves on their way.
    if steady.size < STEADY * values.size:
        return float(np.ptp(values))
    return 2.0 * abs(level - float(np.median(steady)))


def _windows(view: View, time: Array) -> int:
    """How many different readings rows at these times [s], shape (n,), show at least: one that is asked more
    often than it is new stands in several rows.
    """
    if not time.size:
        return 0
    update = view.model.update or 0.0
    passed = float(time[-1] - time[0])
    return min(time.size, 1 + int(passed / update + 1e-9)) if update else time.size


def _passes(*, high: bool) -> CannotMeasure:
    half = "upper" if high else "lower"
    return CannotMeasure(
        f"the voltage does not stay at a level in the {half} half of its range",
        "a step that holds it there, or more readings of it",
    )


def _stays(view: View, values: Array, levels: Levels, *, high: bool) -> float | None:
    """How far the level of one half may be off because another is about as frequent [V]; None where the half
    is only passed through, within BRIEF of the step. Raises where it is passed through at leisure, or where
    readings do not tell.

    Readings meet a stay at a level once less or more than they would at another phase: that many values at
    each end of it decide nothing.
    """
    import numpy as np

    from railwright.measures.levels import places
    from railwright.measures.signal import REACHED

    middle = (float(np.min(values)) + float(np.max(values))) / 2.0
    half = (values >= middle) if high else (values < middle)
    visits = np.count_nonzero(np.diff(np.concatenate(([False], half)).astype(np.int8)) > 0)
    counts, levels_of = places(values, high=high)
    level = levels.high if high else levels.low
    own = np.abs(levels_of - level) < 3.0 * (levels_of[1] - levels_of[0])
    fullest, everything = int(np.max(counts[own])), int(np.count_nonzero(half))
    if view.model.exact and _is_edge(view, half):
        return None
    if fullest < STAYS * everything:
        if view.model.exact and everything < BRIEF * values.size:
            return None
        raise _passes(high=high)
    # Of each stay readings meet one value more or less at either end.
    if not view.model.exact and fullest <= 2 * visits:
        raise _passes(high=high)
    rivals = levels_of[~own & (counts >= fullest - _slack(view, fullest, int(visits)))]
    if not rivals.size:
        return 0.0
    # It lies at one or at the other, anywhere in the three bins of it.
    width = float(levels_of[1] - levels_of[0])
    return (float(np.max(np.abs(rivals - level))) + 1.5 * width) / REACHED
