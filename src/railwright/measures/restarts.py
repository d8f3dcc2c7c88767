"""Restarts: how often the input current drops out and comes back.

A drop-out is a stretch of at least a millisecond in which the current is below half of its usual value, or,
in readings that average over longer, a dip of at least 15 % against both sides. A dip that the input
capacitor makes up for, because the supply's voltage goes down to a lower set point or settles, is none: the
load ran on. Whether it did, the current alone does not tell where the voltage comes down to where the load
stops: a load of constant power draws the more before it stops, and the capacitor is charged again after it.
A rehearsal knows when its loads stopped; of readings it is told as unseen.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from itertools import pairwise, product
from typing import TYPE_CHECKING, Any

from railwright.measures.hiding import LEFT_OUT, UNBROKEN, missing
from railwright.measures.integral import covered
from railwright.measures.measure import measure
from railwright.measures.outcome import CannotMeasure, Measured
from railwright.measures.swinging import (
    SAME,
    SWINGS,
    error_of_one,
    in_limit,
    next_readings,
    runs_from,
    starving,
    surely_away,
    swings,
    turns,
    unsteady,
    wandered,
    wanders,
)
from railwright.measures.wording import amount, rate, recording
from railwright.traces import runs_of

if TYPE_CHECKING:
    from railwright.measures.hiding import Gaps
    from railwright.measures.signal import Array, Signal, View
    from railwright.traces import Flags, Places

    Apart = Sequence[tuple[float, float]]

LONG_DIP = 0.5
SHORT_DIP = 0.15
EXPLAINED = 0.5
BLOCK = 1e-3
"""Samples closer than this are averaged to this: what is shorter is no drop-out [s]."""
AROUND = 5
"""Values on either side whose median is the usual value for a short dip."""
MANY = 100
"""Rows among which it does not matter whether one more or less shows a reading of its own."""
PHASES = 64

FASTER_CURRENT = recording("a recording of the load's own output, or of the current at a higher rate")
FASTER_VOLTAGE = recording("a recording of the load's own output, or of the voltage at a higher rate")
"""What would decide whether a load stops between readings."""


# One piece: half of it is what the report shows of the measure.
@measure("1", "restarts", ("current",), only_grows=True, also=("voltage",))
def restarts(view: View) -> Measured:
    """Number of times that the load stops while its input is on.

    Computed: drop-outs of the current after the load has first run, above where it stops: at least 1 ms below
    half of its usual value (the median of the upper state; less in proportion at a lower voltage, and in
    inverse proportion at a higher one), or in readings a dip of current and power of 15 % or more against the
    medians of five values on either side. A dip that the capacitor makes up for (C ΔV) is none, unless the
    voltage falls below the lowest at which the load stops; nor, for sure, is one to no less than a load of
    varying current draws while it runs, or one of several outputs' sum that lasts for less than two updates;
    nor what the load draws less in the soft start with which it comes back.
    A rehearsal knows its stops.
    Window: the step. A drop-out that reaches over an edge of it counts in both steps; one that begins or ends
    at the edge, as far as the record can tell, in the step that begins there. A load that does not come back
    counts; one that is taken down by the step that switches its input off does not.
    Uncertainty: none; a count. A drop-out shorter than the readings show is stated beside it, unless the
    load's soft start always shows; so is a dip that the capacitor makes up for where the load may stop, where
    samples are missing for as long, where the supply goes into its limit again and again, where the current
    changes from reading to reading at one voltage of the supply, in the step or beside it, and where it falls
    in a soft start. Of readings a drop-out is one for sure only where the set point falls once, from where
    the load can start to where it cannot, and goes back to where readings show that it runs on; at any other
    voltage at which it could start it may stop and start again, unseen.
    Standard: none; a definition of this program.
    """
    import numpy as np

    from railwright.measures.budget import Budget

    if view.never_stops:
        raise CannotMeasure(
            "no load of this input stops and starts again by itself",
            "a load with 'stops_at' in the device document, such as a converter",
        )
    on, down = view.supplied
    begin, end = max(view.start, on), min(view.end, down)
    if end <= begin:
        raise CannotMeasure("the input is taken down in this step, or before it", "a step in which it is on")
    budget = Budget(view)
    if view.away is not None:
        own = [each for each in view.away if on <= each[0] < end and each[1] > begin]
        return budget.result(float(len(own)), f"times that the load stops: {len(own)}")
    margin = view.timing()[2] / 2.0 + view.shift()[1]
    current, voltage = view.current(), view.voltage()
    if current.time.size != voltage.time.size:
        raise CannotMeasure("voltage and current were not recorded together", "a recording of both")
    # Readings whose aperture may reach into another step do not tell that this one was recorded.
    covered(view, current.between(begin + margin, end - margin))
    # What began before the step, or ends after it, is seen from its beginning to its end.
    known = slice(*np.searchsorted(current.time, (min(begin, on) + margin, max(end, down) - margin)))
    time, amps, volts = current.time[known], current.values[known], voltage.values[known]
    gap = missing(view, time)
    around = current.time, current.values, voltage.values
    if float(np.median(np.diff(time))) < BLOCK:
        around, known = _blocks(time, amps, volts), slice(None)
        time, amps, volts = around
    step = slice(*np.searchsorted(time, (begin + margin, end - margin)))
    # In a step in which it is away all the time its usual current is that of the steps beside it.
    away = np.max(amps[step]) < LONG_DIP * np.median(amps)
    usual = _usual(amps if away else amps[step], current)
    visible = max(4.0 * voltage.noise + 2.0 * voltage.step, 1e-3 * float(np.median(np.abs(volts[step]))))
    # What is charged at the beginning is known with the value before it.
    drawn = amps - _most_charging(view, *around, visible)[known]
    found = _drop_outs(view, time, amps, volts, drawn, usual, visible)
    begun = {dip: _begun(view, time, amps, volts, dip) for dip in found[0]}
    runs, explained, softly = (
        [dip for dip in dips if _reaches(time, dip, begin, end, margin, begun.get(dip, 0.0))]
        for dips in found
    )
    how = f"drop-outs of the current below {amount(usual * LONG_DIP, 'A')} among {time[step].size} values"
    lasting = [dip for dip in runs if _lasts(view, time, amps, volts, dip, usual)]
    away_at = surely_away(view, time, amps, volts, error_of_one(current))
    cores = [(_core(dip, away_at), begun[dip]) for dip in lasting]
    sure = sum(
        core is not None and _reaches(time, core, begin, end, margin, earlier) for core, earlier in cores
    )
    apart = [(float(time[a]), float(time[b - 1])) for a, b in found[0]]
    hidden = (
        _open(len(lasting) - sure)
        or _apart(len(runs) - len(lasting))
        or _overloaded(view, time, len(runs), explained)
        or _soft(len(softly))
        or _hidden(view, time, volts, explained, gap, [(time[a], time[b - 1]) for a, b in runs])
        or _elsewhere(view, apart)
        or _again(view, time, volts, lasting, explained, apart)
    )
    if view.model.averages and view.restart is not None and not hidden:
        how += f"; a restart, with its soft start of {amount(view.restart, 's')} or more, always shows"
    return budget.result(float(sure), how, **hidden)


def _core(dip: tuple[int, int], away: Flags) -> tuple[int, int] | None:
    """The part of a dip from the first to the last value at which the load cannot run; None: none is so."""
    import numpy as np

    inside = np.flatnonzero(away[slice(*dip)]) + dip[0]
    return (int(inside[0]), int(inside[-1]) + 1) if inside.size else None


def _open(count: int) -> dict[str, str]:
    """What is said of dips in which the load may run."""
    if not count:
        return {}
    return {
        "unseen": f"{count} more times the current is as low as that of the load while it runs",
        "would_decide": "a recording of the load's own output",
    }


def _apart(count: int) -> dict[str, str]:
    """What is said of dips that readings of several outputs at different times can add up to."""
    if not count:
        return {}
    return {
        "unseen": f"{count} more times the readings of its outputs, at different times, add up to less",
        "would_decide": "a recording of the input's current",
    }


def _soft(count: int) -> dict[str, str]:
    """What is said of dips in a soft start in which the load draws less than before, if not nothing."""
    if not count:
        return {}
    return {
        "unseen": f"{count} more times the current falls in the load's soft start: it may stop there",
        "would_decide": FASTER_CURRENT,
    }


# Six: the readings, what is low in them, and all that is in the record.
def _again(
    view: View,
    time: Array,
    volts: Array,
    dips: Sequence[tuple[int, int]],
    explained: Sequence[tuple[int, int]],
    apart: Apart,
) -> dict[str, str]:
    """What is said where the load may stop oftener than readings can tell: its supply is told a voltage at
    which it could start and was not seen to run, where it may start and stop again and again; a drop-out is
    not one fall of the set point to where it cannot start, and so may be several, or there are more such
    falls; or the supply is there in a dip that the capacitor should make up for.

    apart: from when to when there are drop-outs in the record [s].
    """
    if not view.model.averages:
        return {}
    runs = (1.0 - SAME) * runs_from(view, apart)
    update, _, aperture = view.timing()
    # Where the supply may give less than it did.
    starved = [*view.voltage().time[starving(view)], *view.limits_moved]

    def around(dip: tuple[int, int]) -> tuple[float, float]:
        """From the reading before it to the one after it [s]."""
        before, after = max(0, dip[0] - view.rows_of_one), min(dip[1], time.size - 1)
        begin = float(time[before]) - update - aperture - view.model.clock
        return begin, float(time[after]) + view.model.clock

    told = [_levels(view, view.begin, view.end), *(_levels(view, *around(each)) for each in dips)]
    several = bool(dips) and _falls(view, told[0]) > len(dips)
    for dip, levels in zip(dips, told[1:], strict=True):
        begin, end = around(dip)
        several |= _falls(view, levels) != 1 or any(begin <= each <= end for each in starved)
    if several:
        return {
            "unseen": "in a drop-out the load may start and stop again: the supply is told more than to go "
            "once below where the load can start, and back",
            "would_decide": FASTER_CURRENT,
        }
    lows = [(_lowest(volts, each), min(_levels(view, *around(each)), default=0.0)) for each in explained]
    weak = [each for levels in told for each in levels if view.starts_at <= each < runs]
    weak += [low for lowest, low in lows if low < runs and lowest <= (1.0 + SAME) * low]
    if not weak:
        return {}
    return {
        "unseen": f"the supply is set to {amount(min(weak), 'V')}, where too few readings show that the load "
        "runs: it may stop there, and start again",
        "would_decide": FASTER_CURRENT,
    }


def _falls(view: View, levels: Sequence[float]) -> int:
    """How often the set point falls from where the load can start to where it cannot."""
    return sum(one >= view.starts_at > two for one, two in pairwise(levels))


def _levels(view: View, begin: float, end: float) -> list[float]:
    """Amounts of the set point from one time to another, with the one before, where it changes [V]."""
    told = [each for each in view.course if begin <= each.time < end]
    return [abs(each.start) for each in told[:1]] + [abs(each.goal) for each in told]


def _lasts(view: View, time: Array, amps: Array, volts: Array, dip: tuple[int, int], usual: float) -> bool:
    """Whether a dip is one of the current, and not of the sum of several outputs' readings: while one output
    takes over what another carries, means over times that differ can add up to less than ever flowed. A dip
    of the current shows in the greatest of the sums within two updates, too.
    """
    import numpy as np

    if view.model.summed != "current":
        return True
    around = (view.model.update or 0.0) + view.interval
    first = np.searchsorted(time, time - around - 1e-9)
    last = np.searchsorted(time, time + around + 1e-9)
    greatest = np.array([amps[a:b].max() for a, b in zip(first, last, strict=True)])
    return bool(_low(view, greatest, volts, usual, amps)[slice(*dip)].any())


def _hidden(
    view: View,
    time: Array,
    volts: Array,
    explained: Sequence[tuple[int, int]],
    gap: Gaps,
    apart: Sequence[tuple[float, float]],
) -> dict[str, str]:
    """What may have happened without being counted: what is unseen of it, and what would show it.

    explained: dips that the capacitor makes up for. gap: where samples are missing. apart: from when to when
    there are others [s].
    """
    if gap.longest >= BLOCK:
        return {"unseen": f"{gap.words}: a drop-out can lie there", "would_decide": UNBROKEN}
    if lowest := _may_have_stopped(view, volts, explained):
        reached = f"the voltage falls to {amount(lowest, 'V')}, where the load may stop"
        advice = "a recording of the load's own output, or of the voltage and current at a higher rate"
        return {"unseen": f"{reached}, while the capacitor feeds it", "would_decide": advice}
    if not view.model.averages:
        return {}
    if (count := wanders(view, view.restart or 0.0, apart)) >= SWINGS:
        return {
            "unseen": f"{count} times the current changes from one reading to the next while the supply's "
            "voltage stays: the load may stop for less than a reading shows",
            "would_decide": FASTER_CURRENT,
        }
    if view.restart is not None and _always_seen(view, view.restart):
        return {}
    shortest = _shortest_seen(view)
    unseen = f"a drop-out shorter than {amount(shortest, 's')} can fall between the readings"
    return {"unseen": unseen, "would_decide": rate(shortest / 20.0)}


def _elsewhere(view: View, apart: Sequence[tuple[float, float]]) -> dict[str, str]:
    """What is said where readings of other steps, at a voltage that this one has, too, tell of a load that
    stops and starts within them. apart: all drop-outs of the record, from when to when [s].
    """
    if not view.model.averages or (count := wandered(view, view.restart or 0.0, apart)) < SWINGS:
        return {}
    return {
        "unseen": f"{count} times in the record the current changes from one reading to the next while the "
        "supply's voltage is as in this step: the load may stop for less than a reading shows",
        "would_decide": FASTER_CURRENT,
    }


def _overloaded(
    view: View, time: Array, counted: int, explained: Sequence[tuple[int, int]]
) -> dict[str, str]:
    """What is said where the supply is in its limit before a dip that the capacitor makes up for, or beside
    it while the voltage does not rise, or where that is near to where the load stops: for less than an
    aperture the voltage can fall to there, and the mean of a reading does not show it. What charges a
    capacitor again is in the limit, too, and the voltage rises.
    """
    import numpy as np

    from railwright.measures.status import LIMITS

    voltage = view.voltage()
    modes = view.traces.columns.get("mode")
    if view.model.averages and modes is not None and modes.size == voltage.time.size:
        own = (voltage.time >= view.begin) & (voltage.time <= view.end)
        held = own & ~np.isin(modes, LIMITS)
        levels = [float(np.median(voltage.values[each])) for each in (own, held) if each.any()]
        count = max((swings(view, level) for level in levels), default=0)
        if count >= SWINGS or turns(view) >= SWINGS:
            return {
                "unseen": "the supply goes into its limit again and again, or the voltage goes up and down "
                "in it: the load may stop for less than a reading shows",
                "would_decide": FASTER_VOLTAGE,
            }
    # Each drop-out that is counted makes it go down and up once.
    if view.model.averages and unsteady(view) >= SWINGS + 2 * counted:
        return {
            "unseen": "the current goes up and down while the voltage stays: the load may stop for less than "
            "a reading shows",
            "would_decide": FASTER_CURRENT,
        }
    if not view.model.averages:
        return {}
    starved = starving(view)
    if not counted and _pulled_down(view, starved):
        return {
            "unseen": "in its limit the supply's voltage falls, and rises again: the load may have stopped "
            "there, and what charges its capacitor flows while it is away",
            "would_decide": FASTER_VOLTAGE,
        }
    around = AROUND * max(view.interval, view.model.update or 0.0)
    for first, stop in explained:
        near = (voltage.time >= time[first] - around) & (voltage.time <= time[stop - 1] + around)
        # The limit that charges the capacitor again comes after the dip.
        before = near & (voltage.time < time[first])
        if np.any(starved & near) or np.any(in_limit(view) & before):
            return {
                "unseen": "the supply is in its limit beside a dip that the capacitor makes up for: the "
                "voltage may fall to where the load stops for less than a reading shows",
                "would_decide": FASTER_VOLTAGE,
            }
    return {}


def _reaches(
    time: Array, dip: tuple[int, int], begin: float, end: float, margin: float, earlier: float = 0.0
) -> bool:
    """Whether a drop-out reaches into the step, as far as its edges can be told, within the margin of the
    readings' times [s]. One that begins there comes of what the step does; one that ends there, too: the load
    comes back once its supply has. earlier: how long before the end of its first reading it has begun [s].
    """
    return bool(time[dip[0]] - earlier <= end - margin and time[dip[1] - 1] >= begin - margin)


def _begun(view: View, time: Array, amps: Array, volts: Array, dip: tuple[int, int]) -> float:
    """How long before the end of its first reading's aperture a drop-out has begun at the latest [s]: as much
    of that reading, or of the one before it, as shows less current, and less power, than flowed before, and
    more than the input's capacitor can make up for. 0 of what draws now more and now less.
    """
    import numpy as np

    first, (_, aperture, _) = dip[0], view.timing()
    if not view.model.averages or view.least_running or first < 2 or aperture <= 0.0:
        return 0.0
    earlier = 0.0
    power, across = amps * np.abs(volts), np.abs(volts)
    before = slice(max(0, first - 1 - AROUND * view.rows_of_one), first - 1)
    usual = float(np.median(amps[before])), float(np.median(power[before]))
    if min(usual) <= 0.0:
        return 0.0
    for row in (first - 1, first):
        missing = 1.0 - max(float(amps[row]) / usual[0], float(power[row]) / usual[1])
        fall = max(0.0, float(across[max(0, row - 1)] - across[min(row + 1, across.size - 1)]))
        missing -= fall * view.capacitance[1] / (aperture * usual[0])
        if missing > SHORT_DIP:
            earlier = max(earlier, min(1.0, missing) * aperture + float(time[first] - time[row]))
    return earlier


def _blocks(time: Array, amps: Array, volts: Array) -> tuple[Array, Array, Array]:
    """Means over blocks of BLOCK. Shape (m,) each."""
    import numpy as np

    grid = np.arange(time[0], time[-1], BLOCK)
    if grid.size < 2:
        return time, amps, volts
    means = []
    for values in (amps, volts):
        steps = np.diff(time) * (values[1:] + values[:-1]) / 2.0
        integral = np.concatenate(([0.0], np.cumsum(steps)))
        means.append(np.diff(np.interp(grid, time, integral)) / BLOCK)
    return (grid[1:] + grid[:-1]) / 2.0, means[0], means[1]


def _usual(amps: Array, current: Signal) -> float:
    """Current while the load runs: the median of the values in the upper state [A]."""
    import numpy as np

    from railwright.measures.levels import state_levels

    levels = state_levels(amps, max(8.0 * current.noise + 2.0 * current.step, 1e-9))
    running = amps > (levels.low + levels.high) / 2.0 if levels.two_states else amps >= np.min(amps)
    usual, typical = float(np.median(amps[running])), float(np.median(amps))
    # An inrush makes an upper state of its own; the load's usual current is then the typical one.
    usual = typical if typical > 0.2 * usual else usual
    if usual <= max(10.0 * current.noise, 5.0 * current.step):
        raise CannotMeasure("the current is too small for its drop-outs to show", "a finer current reading")
    return usual


def _pulled_down(view: View, starved: Flags) -> bool:
    """Whether the load can have pulled the voltage down to where it stops, beyond what readings in the
    supply's limit show, up to the end of the next reading.

    By energy: until then the capacitor gives at most what the load takes there beyond the limit, as one of
    constant power, and no more than was ever read.
    """
    import numpy as np

    voltage, current = view.voltage(), view.current()
    own = (voltage.time >= view.begin) & (voltage.time <= view.end)
    rows = np.flatnonzero(starved & own)
    if not rows.size or view.stops_at is None or voltage.time.size != current.time.size:
        return bool(rows.size)
    across, stops = np.abs(voltage.values), view.stops_at[1]
    power = float(np.max((across * current.values)[own]))
    update, _, aperture = view.timing()
    lasts = voltage.time[next_readings(view, voltage)[rows]] - voltage.time[rows] + update + aperture
    taken = np.maximum(0.0, power - current.values[rows] * stops) * lasts
    stored = view.capacitance[0] / 2.0 * (across[rows] ** 2 - stops**2)
    return bool(np.any(taken >= stored))


def _drop_outs(
    view: View, time: Array, amps: Array, volts: Array, drawn: Array, usual: float, visible: float
) -> tuple[list[tuple[int, int]], list[tuple[int, int]], list[tuple[int, int]]]:
    """First and one past the last value of each drop-out after the load has first run; then the same of dips
    that the capacitor or the soft start makes up for; and of the latter those that it may not.

    drawn: the least of each value that charges nothing [A]. usual: the load's usual current [A]; visible: a
    change of voltage that is not noise [V].
    """
    import numpy as np

    low = _low(view, amps, volts, usual, amps)
    # What charges the input is not drawn by its load.
    runs = drawn >= np.maximum(_threshold(volts, usual), 0.1 * usual)
    if view.stops_at is not None:
        # Below the lowest voltage at which it stops it has not run yet: what flows there charges the input.
        below = np.abs(volts) < view.stops_at[0] - visible
        runs, low = runs & ~below, low | below
    has_run = np.maximum.accumulate(runs)
    began = int(np.argmax(runs))
    stretches = _joined(view, time, amps, volts, runs_of(low), _threshold(volts, usual))
    kept, explained, softly = [], [], []
    for dip in ((a, b) for a, b in stretches if a > 0 and has_run[a - 1]):
        if _explained(view, time, amps, volts, dip, visible):
            explained.append(dip)
        elif (part := _begins_softly(view, time, amps, volts, dip, began)) >= EXPLAINED:
            explained.append(dip)
            softly += [dip] if part < 1.0 - SHORT_DIP else []
        else:
            kept.append(dip)
            began = dip[1]
    return kept, explained, softly


def _begins_softly(
    view: View, time: Array, amps: Array, volts: Array, dip: tuple[int, int], began: int
) -> float:
    """What a load draws in a dip of the soft start with which it came back, or after its charging, at row
    `began`: beside what its capacitor takes, C dv/dt, as a part of the most that it drew since then. 0: the
    dip is not of the soft start.
    """
    import numpy as np

    update = view.model.update or 0.0
    if not view.model.averages or view.restart is None or began >= dip[0]:
        return 0.0
    if time[dip[0]] - time[began] > view.restart + 2.0 * (update + view.interval):
        return 0.0
    # The voltage at the ends of a reading is about the mean of it and the one beside it.
    reach = max(update, view.interval) - view.interval / 2.0
    found = np.searchsorted(time, time - reach, side="right") - 1
    before = np.maximum(found, 0)
    after = np.minimum(np.searchsorted(time, time + reach), time.size - 1)
    # Before the first row it may have come up from nothing.
    earlier = np.where(found < 0, 0.0, volts[before])
    change = volts[after] - earlier
    slope = (volts[after] - volts[before]) / np.maximum(time[after] - time[before], 1e-9)
    # What charges it can have come within one reading; a reading as high as the next was charged before.
    taken = np.maximum(slope, change / max(update, view.interval))
    rises = 2.0 * np.maximum(0.0, volts[after] - volts) / max(update, view.interval)
    slope = np.where(slope > 0.0, np.minimum(slope, rises), slope)
    part = 0.0
    for farads in view.capacitance:
        drawn, before_dip = amps - farads * slope, amps - farads * taken
        inside, most = float(np.mean(drawn[slice(*dip)])), float(np.max(before_dip[began : dip[0]]))
        part = max(part, inside / most if most > 0.0 else float(inside >= EXPLAINED * most))
    return part


def _most_charging(view: View, time: Array, amps: Array, volts: Array, visible: float) -> Array:
    """Most of each value that may charge the input's capacitor, C dv/dt by the faster of the rises beside it
    [A], shape (n,). Rows that are alike show one reading.
    """
    import numpy as np

    new = np.flatnonzero(np.concatenate(([True], (np.diff(amps) != 0.0) | (np.diff(volts) != 0.0))))
    steps, gaps = np.diff(np.abs(volts[new])), np.diff(time[new])
    if update := view.model.update:
        gaps = update * np.maximum(1.0, np.floor(gaps / update))
    rises = np.where(steps > visible, steps / gaps, 0.0)
    fastest = np.maximum(np.append(0.0, rises), np.append(rises, 0.0))
    most: Array = view.capacitance[1] * np.repeat(fastest, np.diff(np.append(new, time.size)))
    return most


# Six: the readings, the stretches, and what is known of load and voltage.
def _joined(
    view: View,
    time: Array,
    amps: Array,
    volts: Array,
    stretches: Sequence[tuple[int, int]],
    threshold: Array,
) -> list[tuple[int, int]]:
    """Stretches of low current, those joined between which nothing but the charging of the input's capacitor
    can have kept the current from being low: what flowed there, less C ΔV, is less than the load would draw.
    """
    import numpy as np

    if not stretches or view.capacitance[1] <= 0.0:
        return list(stretches)
    gaps = np.diff(time)
    if update := view.model.update:
        gaps = np.minimum(gaps, update)
    across = np.abs(volts)
    charges = np.concatenate(([0.0], np.cumsum(gaps * (amps[1:] + amps[:-1]) / 2.0)))
    lengths = (np.append(gaps, 0.0) + np.append(0.0, gaps)) / 2.0
    joined = [stretches[0]]
    for first, stop in stretches[1:]:
        before = joined[-1][1] - 1
        between = slice(before + 1, first)
        # From the middle of the last low value to that of the next one.
        flowed = float(charges[first] - charges[before])
        stored = view.capacitance[1] * max(0.0, float(across[first]) - _fell_to(view, across, before, first))
        if flowed - stored < float(np.sum(threshold[between] * lengths[between])):
            joined[-1] = joined[-1][0], stop
        else:
            joined.append((first, stop))
    return joined


def _fell_to(view: View, across: Array, last: int, first: int) -> float:
    """How low the voltage may have been between a low value of the current, the last one, and the first of
    the next ones [V]: lower than its means by as much as it fell before, down to where the load stops.
    """
    shown = float(min(across[last : first + 1]))
    # Readings that are asked for more often than they are new stand in several rows.
    back = max(0, last - view.rows_of_one)
    fell = max(0.0, float(across[back] - across[last]))
    least = shown if view.stops_at is None else min(shown, view.stops_at[0])
    return max(least, min(shown, float(across[last]) - fell))


def _threshold(volts: Array, usual: float) -> Array:
    """Current below which a load does not run [A], shape (n,), at these voltages [V]; usual: its usual
    current [A].

    It may draw less at a lower voltage, in proportion at most, and at a higher one, where its power is
    constant, in inverse proportion.
    """
    import numpy as np

    across = np.abs(volts)
    ratio = np.maximum(across, 1e-9) / max(1e-9, float(np.median(across)))
    threshold: Array = LONG_DIP * usual * np.minimum(1.0, np.minimum(ratio, 1.0 / ratio))
    return threshold


def _low(view: View, amps: Array, volts: Array, usual: float, beside: Array) -> Flags:
    """At which values the current is too low for a load that runs, shape (n,): below half of its usual one
    [A], or, of readings, current and power in a dip of 15 % against both sides, where `beside` is the current
    there [A].
    """
    import numpy as np

    low: Flags = amps < _threshold(volts, usual)
    if view.model.averages:
        # A load of constant power draws less between two stretches of lower voltage; its power stays.
        dips = [
            values < (1.0 - SHORT_DIP) * np.minimum(*_medians_beside(others))
            for values, others in ((amps, beside), (amps * np.abs(volts), beside * np.abs(volts)))
        ]
        low |= dips[0] & dips[1]
    return low


def _may_have_stopped(view: View, volts: Array, dips: Sequence[tuple[int, int]]) -> float | None:
    """Lowest voltage in dips that the capacitor makes up for [V], if the load may stop there; None: not."""
    if view.stops_at is None or not dips:
        return None
    lowest = min(_lowest(volts, dip) for dip in dips)
    return lowest if lowest < view.stops_at[1] else None


def _lowest(volts: Array, dip: tuple[int, int]) -> float:
    """Lowest amount of the voltage in a dip and one value beside it [V]."""
    import numpy as np

    return float(np.min(np.abs(volts[max(0, dip[0] - 1) : dip[1] + 1])))


def _explained(
    view: View, time: Array, amps: Array, volts: Array, run: tuple[int, int], visible: float
) -> bool:
    """Whether the input capacitor gave the load what the supply did not, over the dip and two readings beside
    it, in some way in which the supply can have handed them over. Below the lowest voltage at which the load
    stops it cannot have run on.

    The load's charge is the supply's charge less C ΔV of the capacitor. The dip is explained where the load
    misses less than half of what the dip misses, for some capacitance within its tolerance.
    """
    import numpy as np

    if view.stops_at is not None and _lowest(volts, run) < view.stops_at[0] - visible:
        return False
    start, stop = run
    # Readings that are asked for more often than they are new stand in several rows.
    reach = (AROUND + 2) * view.rows_of_one
    near = slice(max(0, start - reach), stop + reach)
    rows = np.arange(time.size)[near]
    inside = (rows >= start) & (rows < stop)
    for middle, first in _readings(view, time[near], amps[near], volts[near]):
        # A reading that was handed over twice lies in the dip with either of its rows.
        of_dip = np.logical_or.reduceat(inside, first)
        known = middle, amps[rows[first]], volts[rows[first]], of_dip
        if view.least_running and _held_up(view, *known, visible):
            return True
        for law in (partial(_load, visible=visible), partial(_of_constant_power, visible=visible)):
            if _made_up(view, *known, law, visible):
                return True
    return False


def _held_up(view: View, time: Array, amps: Array, volts: Array, inside: Flags, visible: float) -> bool:
    """Whether the capacitor gave a load that draws now more and now less at least what it draws while it
    runs, over the dip alone: beside it what the load draws is not known. Arguments as of `_made_up`.
    """
    import numpy as np

    at, currents = np.array(view.least_running).T
    least = np.interp(np.abs(volts), at, currents, left=0.0)
    # At its least it runs.
    inside = inside & (amps < (1.0 - SHORT_DIP) * least)
    misses = float(np.sum((np.maximum(0.0, least - amps) * _lengths(view, time, inside))[inside]))
    # Rows that are alike show one reading.
    new = np.flatnonzero(np.append(True, (np.diff(amps) != 0.0) | (np.diff(volts) != 0.0)))
    amps, across, least, dip = amps[new], np.abs(volts[new]), least[new], np.flatnonzero(inside[new])
    if not dip.size or not dip[0]:
        return False
    first, last = int(dip[0]), int(dip[-1])
    fall = float(across[first - 1] - across[last])
    fall += _beyond_means(amps, across, least, dip, (first - 1, last))
    return fall > visible and fall * view.capacitance[1] >= (1.0 - EXPLAINED) * misses > 0.0


# Six: the readings, which of them are in the dip, what the load draws, and what is known of the input.
def _made_up(
    view: View,
    time: Array,
    amps: Array,
    volts: Array,
    inside: Flags,
    law: Callable[[Array, Array, Flags], Array],
    visible: float,
) -> bool:
    """Whether the capacitor made up for a dip, where these are all the readings in it and beside it.

    time: middle of each reading [s]; inside: whether it belongs to the dip; shape (n,) each. law: what the
    load draws, of current, voltage and `inside`.
    """
    import numpy as np

    dip = np.flatnonzero(inside)
    first, last = max(0, int(dip[0]) - 2), min(time.size - 1, int(dip[-1]) + 2)
    load = law(amps, volts, inside)
    missing = (load - amps) * _lengths(view, time, inside)
    dip_misses = float(np.sum(missing[inside]))
    # While one reading was taken no capacitor gave more than all that it holds.
    most = view.capacitance[1] * float(np.max(np.abs(volts[first : last + 1])))
    of_one = (view.model.aperture or 0.0) * float(np.max((load - amps)[inside]))
    if view.capacitance[1] > 0.0 and (1.0 - EXPLAINED) * of_one > most:
        return False
    if view.capacitance[1] == 0.0 and volts[last] - volts[first] < -visible:
        # The device document gives no capacitor: a falling voltage may explain anything.
        return True
    # Where readings are left out before or after one, the capacitor can be charged without any that shows it.
    unseen = np.diff(time) > LEFT_OUT * (view.model.update or math.inf)
    since = [first, *(first + 1 + np.flatnonzero(unseen[first : dip[0]]))]
    until = [*(dip[-1] + np.flatnonzero(unseen[dip[-1] : last])), last]
    for begin, end in product(since, until):
        fall = float(volts[begin] - volts[end]) + _beyond_means(amps, volts, load, dip, (begin, end))
        given = max(fall * view.capacitance[0], fall * view.capacitance[1])
        if float(np.sum(missing[begin : end + 1])) - given < EXPLAINED * dip_misses:
            return True
    return False


def _beyond_means(amps: Array, volts: Array, load: Array, dip: Places, ends: tuple[int, int]) -> float:
    """How much farther than the means of a dip's first and last reading tell the voltage fell [V], where the
    readings `ends` from which to which it is looked at are of the dip, and others beside them were left out.

    In one reading of which a part f is in the fall, it falls by δ, and its mean by f δ / 2; f is the part of
    the load's current that is missing. Of several readings the last goes on by half a step.
    """
    first, last = int(dip[0]), int(dip[-1])
    alone = first == last
    part = min(1.0, max(SHORT_DIP, 1.0 - float(amps[first] / load[first]))) if load[first] > 0.0 else 1.0
    more, beyond = 2.0 / part - 1.0 if alone else 0.5, 0.0
    if ends[0] == ends[1]:
        return 0.0
    if ends[1] == last > 0:
        beyond += max(0.0, float(volts[last - 1] - volts[last])) * more
    if ends[0] == first < volts.size - 1:
        beyond += max(0.0, float(volts[first] - volts[first + 1])) * more
    return beyond


def _load(amps: Array, volts: Array, inside: Flags, visible: float) -> Array:
    """What the load draws at each reading's voltage [A], shape (n,), by the readings beside the dip in which
    the voltage stays, so that no capacitor is charged: on the line through the medians of those at higher and
    at lower voltages. A load of constant power draws more in a dip, which is no recharge.
    """
    import numpy as np

    across = np.abs(volts)
    settled = _settled(volts, inside, visible)
    if not settled.any():
        return np.full(amps.shape, float(np.median(amps if inside.all() else amps[~inside])))
    middle = (float(np.min(across[settled])) + float(np.max(across[settled]))) / 2.0
    states = [each for each in (settled & (across < middle), settled & (across >= middle)) if each.any()]
    load: Array = np.interp(
        across,
        [float(np.median(across[each])) for each in states],
        [float(np.median(amps[each])) for each in states],
    )
    return load


def _of_constant_power(amps: Array, volts: Array, inside: Flags, visible: float) -> Array:
    """As `_load`; above the highest voltage that stays beside the dip, as a load of constant power has it."""
    import numpy as np

    load = _load(amps, volts, inside, visible)
    settled = _settled(volts, inside, visible)
    across = np.maximum(np.abs(volts), 1e-9)
    if settled.any():
        load = load * np.minimum(1.0, float(np.max(across[settled])) / across)
    return load


def _settled(volts: Array, inside: Flags, visible: float) -> Flags:
    """Which readings beside the dip are of a voltage that stays, shape (n,)."""
    import numpy as np

    stays = (np.abs(np.diff(np.abs(volts))) <= visible) & ~inside[1:] & ~inside[:-1]
    settled: Flags = np.concatenate((stays, [False])) | np.concatenate(([False], stays))
    return settled


def _readings(view: View, time: Array, amps: Array, volts: Array) -> Iterator[tuple[Array, Places]]:
    """Middles of the readings that a few rows show [s], and the first row of each, in every way in which the
    supply can have handed them over.

    A reading that was handed over twice is one: its charge counts once, although the polls that show it are
    as far apart as those that show two. Rows that differ are no reading handed over twice, wherever their
    stamps, which are off by part of an exchange, put them. Polls as close as blocks show for themselves how
    long each reading stood, and among many one more or less does not matter.
    """
    import numpy as np

    from railwright.measures.windows import local_windows

    if float(np.median(np.diff(time))) < 1.5 * BLOCK or time.size > MANY:
        yield time, np.arange(time.size)
        return
    differs = (np.diff(amps) != 0.0) | (np.diff(volts) != 0.0)
    for windows in local_windows(view, time):
        first = np.flatnonzero(np.concatenate(([True], (np.diff(windows.middle) > 0.0) | differs)))
        yield windows.middle[first], first


def _lengths(view: View, time: Array, inside: Flags) -> Array:
    """How long each reading stands for [s], shape (n,): half-way to the next on either side. What lies in
    readings that were left out is known within the dip alone: elsewhere each stands for its own update.
    """
    import numpy as np

    gaps = np.diff(time)
    if update := view.model.update:
        gaps = np.where(inside[1:] & inside[:-1], gaps, np.minimum(gaps, update))
    beside = np.concatenate((gaps[:1], gaps, gaps[-1:]))
    lengths: Array = (beside[1:] + beside[:-1]) / 2.0
    return lengths


def _medians_beside(values: Array) -> tuple[Array, Array]:
    """Medians of AROUND values before and after each value."""
    import numpy as np

    padded = np.pad(values, AROUND, mode="edge")
    windows = np.median(np.lib.stride_tricks.sliding_window_view(padded, AROUND), axis=1)
    return windows[: values.size], windows[AROUND + 1 : AROUND + 1 + values.size]


def _gap(view: View) -> tuple[float, float]:
    """Time between two apertures in the step, and the aperture [s]. Beside it, as after the end of a run, the
    polls may be closer.
    """
    update, least, _ = view.timing()
    interval = view.interval
    period = interval if interval > 1.5 * update else max(update, interval)
    return max(0.0, period - least), least


def _shortest_seen(view: View) -> float:
    """Length of a full drop-out that shows wherever it falls: the gap, and SHORT_DIP of an aperture on either
    side.
    """
    gap, aperture = _gap(view)
    return gap + 2.0 * SHORT_DIP * aperture


def _always_seen(view: View, soft_start: float) -> bool:
    """Whether the soft start after even the shortest drop-out lowers a reading by SHORT_DIP, wherever it
    falls.
    """
    import numpy as np

    gap, aperture = _gap(view)
    if aperture <= 0.0:
        return False
    period = gap + aperture
    start = np.linspace(0.0, period, PHASES, endpoint=False)[:, None]
    windows = period * np.arange(-1, int(np.ceil(soft_start / period)) + 2)[None, :]

    def missing(until: Any) -> Any:
        inside = np.clip(until - start, 0.0, soft_start)
        return inside - inside**2 / (2.0 * soft_start)

    deficit = (missing(windows + aperture) - missing(windows)) / aperture
    return bool(np.min(np.max(deficit, axis=1)) > SHORT_DIP)
