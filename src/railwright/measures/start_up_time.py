"""Start-up time: from an input's switching-on to the instant from which its voltage and current stay steady.

Steady: the voltage has entered ±2 % of its level at the end of the step, and the current ±10 % of its own (or
±2 % of its largest value, where that is more), both for the last time. Behind a capacitor that charges at the
current limit this is the end of the charging and of the converter's soft start; a load that keeps hunting has
no start-up time.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from railwright.measures.hiding import UNBROKEN, missing
from railwright.measures.integral import covered
from railwright.measures.measure import measure
from railwright.measures.outcome import Beyond, CannotMeasure, Measured
from railwright.measures.swinging import SWINGS, swings
from railwright.measures.wording import amount, rate

if TYPE_CHECKING:
    from railwright.measures.signal import Signal, View

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


@measure(
    "s", "start-up time", ("current",), after_switching_on=True, sampling=timing_interval, also=("voltage",)
)
def start_up_time(view: View) -> Measured:
    """Time from switching on until voltage and current stay steady.

    Computed: from the switching-on to the last entry of the voltage into ±2 % of its final level, or of the
    current into ±10 % of its own (or ±2 % of its largest value, where that is more), whichever is later.
    Final level: the median over the last third of the window. There is none where the supply's status goes
    into the limit or out of it three times or more at that level, or where it hangs on a peak of the current
    that readings do not show.
    Window: from the switching-on, which must lie in the step, to the end of the step.
    Uncertainty: 'aperture', 'between readings' (or 'between samples'), 'time of the readings', 'current
    between the outputs' (in parallel: what they drive into each other may have kept their sum out of its
    band), 'instant of switching on' (±0.5 ms, declared).
    Standard: none; that the last entry into a band counts is as in the settling duration of IEEE 181.
    """
    from railwright.measures.budget import Budget
    from railwright.measures.reading_model import SWITCHING_TIME

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
    _holds(view, final_voltage)
    entries = _entries(view, voltage, final_voltage, current)
    latest = max(entries, key=lambda entry: entry.crossing)
    after = voltage.time[voltage.time >= latest.first_inside]
    if gap := missing(view, after):
        raise CannotMeasure(f"{gap.words}: whether it stayed steady there is unknown", UNBROKEN)
    budget = Budget(view)
    _, _, aperture = view.timing()
    late = view.shift()[1]
    instant = latest.crossing
    if view.model.averages:
        # Outside on average: the waveform entered after the middle of that aperture (slowly) or up to its
        # start (at once); inside on average: before that point of the next one.
        instant = (latest.last_outside + latest.first_inside) / 2.0 - aperture / 4.0
        budget.bounded("aperture", aperture / 4.0)
        early = _earlier(view, current, latest, entries[0]) if latest is entries[1] else 0.0
        budget.bounded("current between the outputs", early / 2.0)
        instant -= early / 2.0
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
    return budget.result(value, how, would_decide=rate(needed))


def _holds(view: View, level: float) -> None:
    """Raises where the supply does not hold the voltage at the level that it reaches [V]."""
    if view.model.averages and (count := swings(view, level)) >= SWINGS:
        raise CannotMeasure(
            f"the supply goes into its limit or out of it {count} times at the level that it reaches: the "
            "readings are means of what it does then",
            "a recording",
        )


def _earlier(view: View, current: Signal, latest: _Entry, of_voltage: _Entry) -> float:
    """How much earlier the current may have entered its band [s]: what outputs in parallel drive into each
    other shows in their sum, though it was steady.
    """
    if not view.model.circulating:
        return 0.0
    wide = _band(view, current) + view.model.circulating
    early = _entry(current, _final(current, view), wide, view, "current")
    return latest.first_inside - max(early.first_inside, of_voltage.first_inside)


def _entries(view: View, voltage: Signal, final_voltage: float, current: Signal) -> tuple[_Entry, _Entry]:
    """When the voltage, and when the current, entered its band for the last time."""
    final_current = _final(current, view)
    band = _band(view, current)
    of_voltage = _entry(
        voltage,
        final_voltage,
        max(VOLTAGE_BAND * abs(final_voltage), 6.0 * voltage.noise),
        view,
        "voltage",
    )
    of_current = _entry(current, final_current, band, view, "current")
    bound = view.model.current_bound if view.model.averages else None
    if bound is not None and of_current.crossing > of_voltage.crossing:
        widest = CURRENT_BAND_OF_LARGEST * (bound.value + bound.tolerance)
        early = _entry(current, final_current, max(band, widest), view, "current")
        if early.first_inside < of_current.first_inside:
            raise CannotMeasure(
                f"how wide the current's band is hangs on its peak, which readings do not show: at least "
                f"{amount(band, 'A')}, and up to {amount(widest, 'A')} where it reaches its limit",
                "a recording of the current",
            )
    return of_voltage, of_current


def _band(view: View, current: Signal) -> float:
    """Half width of the band about the final current [A]."""
    import numpy as np

    final, largest = _final(current, view), float(np.max(np.abs(current.values)))
    band = max(CURRENT_BAND * abs(final), CURRENT_BAND_OF_LARGEST * largest, 6.0 * current.noise)
    return band + current.step


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
