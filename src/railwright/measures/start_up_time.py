"""Start-up time: from an input's switching-on to the instant from which its voltage and current stay steady.

Steady: the voltage has entered ±2 % of its level at the end of the step, and the current ±10 % of its own (or
±2 % of its largest value, where that is more), both for the last time. Behind a capacitor that charges at the
current limit this is the end of the charging and of the converter's soft start; a load that keeps hunting has
no start-up time.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from railwright.measures.hiding import UNBROKEN, missing
from railwright.measures.integral import covered
from railwright.measures.measure import measure
from railwright.measures.outcome import Beyond, CannotMeasure, Measured
from railwright.measures.swinging import SWINGS, is_held
from railwright.measures.wording import amount, rate

if TYPE_CHECKING:
    from railwright.measures.signal import Array, Signal, View
    from railwright.traces import Flags

VOLTAGE_BAND = 0.02
CURRENT_BAND = 0.10
CURRENT_BAND_OF_LARGEST = 0.02
SAMPLES = 50.0
"""Samples that a recording should have within one reading, to time a start-up better than readings do."""
TAIL = 1.0 / 3.0
"""The last part of the step, whose median is the steady level."""
REACHED = 0.5
"""An input has come up when its voltage ends above this part of what it was given."""


class _Entry(NamedTuple):
    """Between which two values a channel entered its band for the last time: indices, and the fraction
    between.
    """

    last_outside: float
    first_inside: float
    crossing: float


def timing_interval(update: float, every: float, aperture: float) -> float:
    """Longest time between two samples of a recording that times a start-up better than readings do [s]."""
    return max(every, aperture) / SAMPLES


# One piece: half of it is what the report shows of the measure.
@measure(
    "s", "start-up time", ("current",), after_switching_on=True, sampling=timing_interval, also=("voltage",)
)
def start_up_time(view: View) -> Measured:
    """Time from switching on until voltage and current stay steady.

    Computed: from the switching-on to the last entry of the voltage into ±2 % of its final level, or of the
    current into ±10 % of its own (or ±2 % of its largest value, where that is more), whichever is later.
    Final level: the median over the last third of the window. There is none where one of them leaves its band
    three times or more in that third, where the supply's status goes into the limit or out of it three times
    or more at that level, or is in it at two readings of that level in succession and a load may stop and
    start again, or where it hangs on extremes that readings do not show.
    Window: from the switching-on, which must lie in the step, to the end of the step.
    Uncertainty: 'aperture', 'between readings' (or 'between samples'), 'time of the readings', 'current
    between the outputs' (in parallel: what they drive into each other may have kept the sum of their readings
    out of its band, or in it), 'width of the bands' (what readings leave open of the final levels and of what
    they average over), 'instant of switching on' (±0.5 ms, declared). Where one of them hands its share over
    to another, the sum of their readings leaves its band though the current is steady, and a peak that no
    reading shows (up to the current limit, and what exceeds it until it responds; a surge out of the output's
    capacitor is not counted) makes that band wider: the interval then begins as much earlier.
    Standard: none; that the last entry into a band counts is as in the settling duration of IEEE 181.
    """
    from railwright.measures.budget import Budget
    from railwright.measures.reading_model import SWITCHING_TIME
    from railwright.measures.signal import REACHED as REACHED_BOUND

    if view.switched_on is None:
        raise CannotMeasure("the input is not switched on in this step", "a step that switches it on")
    voltage, current = (_of_step(view, signal) for signal in (view.voltage(), view.current()))
    covered(view, voltage)
    final_voltage = _final(voltage, view)
    if view.goal and final_voltage < REACHED * view.goal:
        raise Beyond(
            f"the input did not start: it ended at {final_voltage:.4g} V of {view.goal:.4g} V",
            view.end - view.switched_on,
            "above",
        )
    is_held(view, final_voltage)
    _steady(view, ((voltage, final_voltage), (current, _final(current, view))))
    entries = _entries(view, voltage, final_voltage, current)
    latest = max(entries, key=lambda entry: entry.crossing)
    after = voltage.time[voltage.time >= latest.first_inside]
    if gap := missing(view, after):
        raise CannotMeasure(f"{gap.words}: whether it stayed steady there is unknown", UNBROKEN)
    budget = Budget(view)
    _, _, aperture = view.timing()
    late = view.shift()[1]
    instant, open_below = latest.crossing, 0.0
    if view.model.averages:
        # Outside on average: the waveform entered after the middle of that aperture (slowly) or up to its
        # start (at once); inside on average: before that point of the next one.
        instant = (latest.last_outside + latest.first_inside) / 2.0 - aperture / 4.0
        budget.bounded("aperture", aperture / 4.0)
        early = 0.0
        if latest is entries[1]:
            # What outputs in parallel drive into each other shows in their sum, though that was steady.
            band, apart = _band(view, current), view.model.circulating
            early = _earlier(view, current, entries, band + apart)
            wider = max(band, _by_a_peak(view)) + max(apart, _shared(view, current))
            open_below = max(0.0, _earlier(view, current, entries, wider) - early)
        # Their readings are up to an update apart: their sum can be in the band before the current is.
        late_sum = view.timing()[0] if view.model.circulating and latest is entries[1] else 0.0
        budget.bounded("current between the outputs", (early + late_sum) / 2.0)
        instant += (late_sum - early) / 2.0
        first, last = _open(view, voltage, current, latest.first_inside)
        budget.bounded("width of the bands", (last - first) / 2.0 / REACHED_BOUND)
        instant += (first + last) / 2.0 - latest.first_inside
        budget.bounded("between readings", (latest.first_inside - latest.last_outside) / 2.0)
    elif not view.model.exact:
        budget.bounded("between samples", (latest.first_inside - latest.last_outside) / 2.0)
    budget.bounded("time of the readings", late)
    if not view.model.exact:
        budget.bounded("instant of switching on", SWITCHING_TIME)
    value = instant - view.switched_on
    which = "voltage" if latest is entries[0] else "current"
    how = (
        f"last entry of the {which} into its band (voltage ±{VOLTAGE_BAND * 100:g} %, current "
        f"±{CURRENT_BAND * 100:g} % of the level at the end of the step)"
    )
    needed = timing_interval(view.model.update or 0.0, view.every or view.interval, aperture)
    if open_below:
        causes = "the current had a peak that no reading shows, by which its band is wider"
        if view.model.summed == "current":
            causes = f"{causes}, or one output handed its share over to another"
        how = f"{how}; up to {amount(open_below, 's')} earlier where {causes}"
    measured = budget.result(value, how, would_decide=rate(needed))
    # No time is negative.
    return replace(measured, low=max(min(0.0, value), measured.low - open_below))


def _steady(view: View, channels: Sequence[tuple[Signal, float]]) -> None:
    """Raises where voltage or current go out of their bands again and again up to the end of the step."""
    import numpy as np

    begins = view.end - TAIL * (view.end - view.begin)
    for (signal, level), what in zip(channels, ("voltage", "current"), strict=True):
        even = signal.evenly(view) if view.model.exact else signal
        outside = np.abs(even.values - level) > _width(view, signal, level, what)
        leaves = outside[1:] & ~outside[:-1] & (even.time[1:] >= begins)
        if (count := int(np.count_nonzero(leaves))) >= SWINGS:
            raise Beyond(
                f"the {what} leaves its band {count} times in the last third of the step",
                view.end - (view.switched_on or view.begin),
                "above",
            )


def _open(view: View, voltage: Signal, current: Signal, nominal: float) -> tuple[float, float]:
    """Earliest and latest time of the first values from which on both stay in their bands [s], as far as it
    hangs on what readings tell of the final levels, of the bands and of what they average over; `nominal`:
    by the values as they are.
    """
    import numpy as np

    from railwright.measures.levels import median_range
    from railwright.measures.windows import new_rows

    early, late = [], []
    begins = view.end - TAIL * (view.end - view.begin)
    for signal, what in ((voltage, "voltage"), (current, "current")):
        tail = signal.between(begins, view.end)
        own = tail.values[new_rows(view, tail.time, tail.values)]
        error = 4.0 * signal.noise + signal.step
        level = _final(signal, view)
        low, high = median_range(own, error)
        inner = [
            max(_width(view, signal, each, what) - error, 6.0 * signal.noise + signal.step)
            for each in (low, high)
        ]
        hides = _averaged_away(
            view, signal, np.abs(signal.values - level) > _width(view, signal, level, what)
        )
        early.append(
            min(
                _first_inside(signal, each, np.full(hides.shape, _width(view, signal, each, what) + error))
                for each in (low, level, high)
            )
        )
        late.append(
            max(
                _first_inside(signal, each, width - hides)
                for each, width in zip((low, high), inner, strict=True)
            )
        )
    if max(late) == math.inf:
        what = "voltage" if late[0] == math.inf else "current"
        raise CannotMeasure(
            f"whether the {what} stays in its band hangs on less than the readings tell of it",
            f"a recording of the {what}",
        )
    return min(nominal, max(early)), max(nominal, max(late))


def _first_inside(signal: Signal, level: float, band: Array) -> float:
    """Time of the first value from which on all lie in a band, of this half width at each, shape (n,);
    infinite: the last ones do not.
    """
    import numpy as np

    where = np.flatnonzero(np.abs(signal.values - level) > band)
    if not where.size:
        return float(signal.time[0])
    last = int(where[-1])
    return math.inf if last >= signal.time.size - 2 else float(signal.time[last + 1])


def _averaged_away(view: View, signal: Signal, outside: Flags) -> Array:
    """By how much a value may have been more or less within its reading, shape (n,): half of how far those
    beside it lie from it, but for those before it has entered its band (`outside`) for the last time.
    """
    import numpy as np

    apart = max(1, round((view.model.update or 0.0) / max(view.interval, 1e-9)))
    steps = np.zeros(signal.values.size)
    visible = 6.0 * signal.noise + signal.step
    if signal.values.size > apart:
        beside = np.abs(signal.values[apart:] - signal.values[:-apart])
        steps[:-apart] = beside
        entered = int(np.flatnonzero(outside)[-1]) + 1 if outside.any() else 0
        after = np.arange(apart, signal.values.size)
        own = np.where(after - apart >= entered, beside, 0.0)
        steps[apart:] = np.maximum(steps[apart:], own)
    return np.maximum(0.0, steps - visible) / 2.0


def _earlier(view: View, current: Signal, entries: tuple[_Entry, _Entry], wide: float) -> float:
    """How much earlier the current would have entered a band of this half width [A], as far as the voltage
    had by then [s]; 0 where it is no wider than its own.
    """
    of_voltage, latest = entries
    if wide <= _band(view, current):
        return 0.0
    early = _entry(current, _final(current, view), wide, view, "current")
    return latest.first_inside - max(early.first_inside, of_voltage.first_inside)


def _shared(view: View, current: Signal) -> float:
    """What the readings of outputs in parallel, each of a time of its own, may be off in sum while the
    current is steady [A]: all of it, while one hands its share over to another.
    """
    return abs(_final(current, view)) if view.model.summed == "current" else 0.0


def _entries(view: View, voltage: Signal, final_voltage: float, current: Signal) -> tuple[_Entry, _Entry]:
    """When the voltage, and when the current, entered its band for the last time."""
    of_voltage = _entry(
        voltage, final_voltage, _width(view, voltage, final_voltage, "voltage"), view, "voltage"
    )
    return of_voltage, _entry(current, _final(current, view), _band(view, current), view, "current")


def _by_a_peak(view: View) -> float:
    """Half width of the band about the final current by the largest peak of it that an output gives and
    readings need not show [A]: that of a limit which has not responded yet.
    """
    limit, path = view.model.current_bound, view.model.surge
    largest = 0.0 if limit is None else limit.value + limit.tolerance
    if path is not None and path.first is not None:
        largest = max(largest, path.first)
    return CURRENT_BAND_OF_LARGEST * largest


def _band(view: View, current: Signal) -> float:
    """Half width of the band about the final current [A]."""
    return _width(view, current, _final(current, view), "current")


def _width(view: View, signal: Signal, level: float, what: str) -> float:
    """Half width of the band about a level of the voltage or the current."""
    import numpy as np

    if what == "voltage":
        return max(VOLTAGE_BAND * abs(level), 6.0 * signal.noise)
    largest = float(np.max(np.abs(signal.values)))
    band = max(CURRENT_BAND * abs(level), CURRENT_BAND_OF_LARGEST * largest, 6.0 * signal.noise)
    return band + signal.step


def _of_step(view: View, signal: Signal) -> Signal:
    """Values up to the end of the step; readings from a while before it, since they come late."""
    if view.model.exact:
        return signal.within(view.begin, view.end)
    return signal.between(view.start - 1.0, view.end)


def _final(signal: Signal, view: View) -> float:
    """Median over the last part of the step."""
    import numpy as np

    even = signal.evenly(view) if view.model.exact else signal
    start = view.end - TAIL * (view.end - view.begin)
    values = even.values[(even.time >= start) & (even.time <= view.end)]
    if values.size < 3:
        raise CannotMeasure("the step is too short for its readings to show a steady level", "a longer step")
    return float(np.median(values))


def _entry(signal: Signal, level: float, band: float, view: View, what: str) -> _Entry:
    import numpy as np

    outside = np.abs(signal.values - level) > band
    where = np.flatnonzero(outside)
    if where.size == 0:
        begin = view.begin
        return _Entry(begin, begin, begin)
    last = int(where[-1])
    if last >= signal.time.size - (1 if view.model.exact else 2):
        raise CannotMeasure(f"the {what} is not steady at the end of the step", "a longer step")
    step = signal.values[last + 1] - signal.values[last]
    edge = level + np.sign(signal.values[last] - level) * band
    part = float(np.clip((edge - signal.values[last]) / step, 0.0, 1.0)) if step else 0.0
    before, after = float(signal.time[last]), float(signal.time[last + 1])
    return _Entry(before, after, before + part * (after - before))
