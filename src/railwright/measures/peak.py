"""Peak current and peak voltage, with what may hide between readings.

A mean over an aperture is never above the peak: it bounds the peak from below only. What lies above it can be
anything up to the limit that was set, and until the limit has responded even more. A recorder's samples see a
peak that several of them in a row outline. A recording need not last as long as the step: where it ends, the
supply's readings go on, as long as they are steady and nowhere higher.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from railwright.measures.hiding import UNBROKEN, hidden, missing, no_whole_reading
from railwright.measures.integral import covered
from railwright.measures.measure import measure
from railwright.measures.outcome import CannotMeasure, Measured
from railwright.measures.sampling import as_often, blind_time, deciding_interval
from railwright.measures.wording import amount, rate
from railwright.quantities import show

if TYPE_CHECKING:
    from railwright.measures.budget import Budget
    from railwright.measures.reading_model import HidingBound
    from railwright.measures.signal import Signal, View

NEIGHBOURS = 5
"""Values in a row whose mean tells a top from noise."""

SHARPNESS = 0.25
"""Where between a round and a sharp top the best estimate of a peak between samples lies."""

SPREAD = 0.6
"""Bound of that estimate's error, in parts of the difference of the two tops."""

RESOLVED = 0.2
"""A peak is outlined when its neighbours differ from it by less than this part of the whole range."""

STEADY = 0.1
"""Readings beside a recording are steady when they differ by less than this part of the recording's peak."""


def outlining_interval(update: float, every: float, aperture: float) -> float:
    """Longest time between two samples of a recording that sees what the readings hide [s]."""
    return deciding_interval(blind_time(update, every, aperture))


@measure(
    "A",
    "peak current",
    ("current",),
    level_of="current",
    momentary=True,
    only_grows=True,
    sampling=outlining_interval,
)
def peak_current(view: View) -> Measured:
    """Largest current.

    Computed: the largest value, less what noise lifts it by; of a recording, with what a top between two
    samples rises above them. One whose samples are farther apart than the check asks of a recorder (a
    200th of what the readings do not see into, and 1 ms at most) bounds the peak from below only, as readings
    do: what falls between two samples may be higher.
    Window: the step, from the switching-on where it lies in the step, and every value whose aperture may lie
    in it; the value is the largest whose aperture surely does, and where outputs' readings add up, or such a
    sum carries the voltage over the lead, the largest that stood for two updates, surely less what one output
    can have handed over to others meanwhile; there is none where no aperture surely does and the readings
    around the step differ. A recording may cover a part; readings that are steady and not higher judge the
    rest.
    Uncertainty: 'noise of the largest' (the largest of n values of one level stands E[max of n] above it, by
    Blom's approximation), 'between samples' (a recording's top between a round and a sharp one). What hides
    from readings that are means is no uncertainty but stated beside it, with its bound: the current limit
    once it has responded, before that what lead and output capacitor let through. The load's model is no
    bound, though the current of a coil, for one, cannot jump: the load is what is tested, and need not be
    what its model says.
    Standard: none; common practice.
    """
    return _peak(view, view.current(), view.model.current_bound, "A", "current")


@measure(
    "V",
    "peak voltage",
    ("voltage",),
    level_of="voltage",
    momentary=True,
    only_grows=True,
    sampling=outlining_interval,
)
def peak_voltage(view: View) -> Measured:
    """Largest voltage.

    Computed: as the largest current.
    Window: as of the largest current.
    Uncertainty: 'noise of the largest' (the largest of n values of one level stands E[max of n] above it, by
    Blom's approximation), 'between samples' (a recording's top between a round and a sharp one). What hides
    from readings that are means is no uncertainty but stated beside it, with its bound: the OVP level, its
    error and what the output rises while it responds.
    Standard: none; common practice.
    """
    return _peak(view, view.voltage(), view.model.voltage_bound, "V", "voltage")


def _surely_inside(view: View, near: Signal, reach: float) -> Signal:
    """The readings that surely lie in the step: one that may reach beyond it may tell of what the next step
    does. reach: half an aperture, and how late a reading may be [s].

    Before it is switched on an input is at its lowest: a reading that reaches back there is never too high.
    """
    switched = view.off_until is not None and view.off_until >= view.start - reach
    return near.between(view.begin + (-reach if switched else reach), view.end - reach)


def _surely_reached(view: View, near: Signal, inside: Signal) -> float:
    """The largest of the readings that surely lie in the step.

    Raises where there is none, and those around the step are of more than one level.
    """
    import numpy as np

    if not inside.time.size:
        if float(np.ptp(near.values)) > 8.0 * near.noise + 2.0 * near.step:
            raise no_whole_reading(view)
        return float(near.values.min())
    return _without_noise(inside)[0]


def _reached_together(view: View, near: Signal, reach: float, what: str) -> tuple[float, float]:
    """What the readings reached in the step, of sums what stood; and what sums surely reached. reach: as of
    `_surely_inside`.
    """
    stood = _stood(view, near, what)
    reached = _surely_reached(view, stood, _surely_inside(view, stood, reach))
    return reached, _surely_summed(view, _surely_inside(view, near, reach), what)


def _surely_summed(view: View, inside: Signal, what: str) -> float:
    """What sums of several outputs' readings, each of a time of its own, surely reached at one time.

    While one output hands over to the others, a sum is off by what it hands over between those times, up to
    an update apart. Over a while the sums are off by no more than that of all it can hand over, spread over
    the while: where all of them are above a level, the true sum was, less that.
    """
    import numpy as np

    most = _most_handed_over(view, what) * view.timing()[0]
    if most <= 0.0 or inside.time.size < 2:
        return math.inf
    time, values = inside.time, inside.values
    # Up to the end of the step, and for so many rows.
    ending = np.minimum.accumulate(values[::-1])[::-1][:-1]
    surely = float(np.max(ending - most / (time[-1] - time[:-1])))
    least, rows = values, 1
    while 2 * rows <= values.size:
        least, rows = np.minimum(least[:-rows], least[rows:]), 2 * rows
        surely = max(surely, float(np.max(least - most / (time[rows - 1 :] - time[: -rows + 1]))))
    return max(0.0, surely)


def _most_handed_over(view: View, what: str) -> float:
    """The most that outputs in parallel can hand over to one of them [A], or what that is over the lead [V];
    0: what they read is not summed, or there is one.
    """
    carried = what == "voltage" and view.carried
    if view.model.summed != "current" or not (what == "current" or carried):
        return 0.0
    current, sunk = view.current(), view.model.circulating
    flows = float(current.between(view.begin, view.end).values.max(initial=0.0)) + sunk
    each = [min(math.inf if part.most is None else part.most, flows) + sunk for part in view.model.current]
    return (sum(each) - max(each)) * ((view.model.lead or (0.0, 0.0))[1] if carried else 1.0)


def _stood(view: View, near: Signal, what: str) -> Signal:
    """Sums of several outputs' readings, each the least within two updates: while one output takes over what
    another carries, means over times that differ add up to what never flowed at once. So does a voltage that
    such a sum of currents carries over the lead. Others as they are.
    """
    import numpy as np

    carried = what == "voltage" and view.model.summed == "current" and view.carried
    if view.model.summed != what and not carried:
        return near
    around = (view.model.update or 0.0) + view.interval
    first = np.searchsorted(near.time, near.time - around - 1e-9)
    last = np.searchsorted(near.time, near.time + around + 1e-9)
    least = [near.values[a:b].min() for a, b in zip(first, last, strict=True)]
    return replace(near, values=np.array(least))


def _peak(view: View, signal: Signal, bound: HidingBound | None, unit: str, what: str) -> Measured:
    import numpy as np

    from railwright.measures.budget import Budget

    aperture = view.timing()[2]
    # A value belongs to the step where any part of its aperture may have lain in it.
    reach = aperture / 2.0 + view.shift()[1]
    if view.model.exact:
        near = signal.within(view.begin, view.end)
    else:
        near = signal.between(view.begin - reach, view.end + reach)
    rest = _rest(view, near, what) if view.beside is not None else None
    covered(view, near, seen_elsewhere=rest is not None)
    place = int(np.argmax(near.values))
    budget = Budget(view)
    weights = np.zeros(near.time.size)
    weights[place] = 1.0
    budget.systematic(near, weights)
    budget.noise(near, weights)
    value, spread_of_lift = _without_noise(near)
    budget.bounded("noise of the largest", spread_of_lift)
    if view.model.averages:
        return _of_readings(view, near, budget, value, bound, unit, what)
    if view.model.exact:
        return budget.result(value, "largest value")
    jump = _jump(view, near, place)
    # A round top follows the parabola through the three highest samples, a sharp one the lines on either
    # side. Inductance and capacitance round tops: the estimate lies nearer to the parabola.
    round_top, sharp_top = _above_samples(near, place, jump)
    value += round_top + SHARPNESS * (sharp_top - round_top)
    budget.bounded("between samples", SPREAD * (sharp_top - round_top))
    how = f"largest {what} of {near.time.size} samples"
    if gap := missing(view, near.time):
        return _beside_gap(view, budget, value, gap.words, unit, how, UNBROKEN)
    if needed := _too_far_apart(view):
        falls = f"a peak shorter than the {amount(view.interval, 's')} between two samples falls between them"
        return _beside_gap(view, budget, value, falls, unit, how, rate(needed))
    spread = float(np.ptp(near.values))
    if jump > RESOLVED * spread > 0.0:
        return budget.at_least(
            value,
            value if bound is None else bound.value + bound.tolerance,
            how,
            unseen=f"the peak stands on fewer than three samples {amount(view.interval, 's')} apart",
            would_decide=rate(view.interval / 20.0),
        )
    measured = budget.result(value, how, would_decide="a recorder with a smaller error")
    return measured if rest is None else _together(measured, rest, unit)


def _of_readings(
    view: View, near: Signal, budget: Budget, value: float, bound: HidingBound | None, unit: str, what: str
) -> Measured:
    """The largest of values that are means over an aperture: at most the peak."""
    update, _, aperture = view.timing()
    sees = blind_time(update, view.interval, aperture)
    hides = f"a peak shorter than {amount(sees, 's')} is averaged away or falls between readings"
    highest, unseen, open_above = hidden(view, bound, unit, hides)
    needed = outlining_interval(update, view.every or view.interval, aperture)
    # What may be of the next step bounds the peak from above; it is none that was surely reached.
    reached, surely = _reached_together(view, near, aperture / 2.0 + view.shift()[1], what)
    reached = min(value, reached)
    measured = budget.at_least(
        reached,
        max(highest, value),
        f"largest of {near.time.size} readings; a mean over an aperture is at most the peak",
        unseen=unseen,
        hides=hides,
        would_decide=rate(needed),
        open_above=open_above,
    )
    return replace(measured, low=measured.low - max(0.0, reached - surely))


# Many: what was measured, and where it was not.
def _beside_gap(
    view: View, budget: Budget, value: float, gap: str, unit: str, how: str, would_decide: str
) -> Measured:
    """The largest sample, where others are missing, or were not taken, that may have been larger."""
    own = view if view.beside is None else view.beside
    limit = own.model.current_bound if unit == "A" else own.model.voltage_bound
    highest, unseen, open_above = hidden(own, limit, unit, gap)
    extra = {"unseen": unseen, "hides": gap, "would_decide": would_decide, "open_above": open_above}
    return budget.at_least(value, max(highest, value), how, **extra)


def _too_far_apart(view: View) -> float:
    """The longest time between two samples of a recording that sees what the run's own readings hide, where
    these samples are farther apart than that [s]; 0: they are not, or no readings are beside them.
    """
    if (own := view.beside) is None:
        return 0.0
    every = own.every or own.interval
    update, aperture = own.model.update, own.model.aperture
    update = every if update is None else update
    needed = outlining_interval(update, every, update if aperture is None else aperture)
    return 0.0 if as_often(view.interval, needed) else needed


def _jump(view: View, near: Signal, place: int) -> float:
    """By how much a sample differs from its neighbours, beside the grid and what noise does.

    A file may hold its samples closer than its recorder takes them: what lies between those was not seen.
    """
    import numpy as np

    if near.time.size < 2:
        return 0.0
    apart = max(1, round(view.interval / max(1e-12, float(np.median(np.diff(near.time))))))
    around = sorted({max(0, place - apart), place, min(near.values.size - 1, place + apart)})
    least = near.step + 3.0 * math.sqrt(2.0) * near.noise
    return max(0.0, float(np.max(np.abs(np.diff(near.values[around])))) - least)


class _Rest(NamedTuple):
    """What the supply's readings show beside the recording: the largest, its error's bound, and where."""

    largest: float
    error: float
    words: str


def _rest(view: View, near: Signal, what: str) -> _Rest | None:
    """The part of the step beside the recording, from the run's own readings; None: there is none.

    Raises CannotMeasure where they are not steady there: what a mean over an aperture hides would be part of
    an event that goes on. A peak that they hide completely is shorter than what is said in the result.
    """
    import numpy as np

    beside = view.beside
    if beside is None or near.time.size < 2 or not beside.model.averages:
        return None
    slack = max(3.0 * view.interval, view.shift()[1])
    first, last = float(near.time[0]), float(near.time[-1])
    early, late = first > view.begin + slack, last < view.end - slack
    if not (early or late):
        return None
    readings = beside.current() if what == "current" else beside.voltage()
    update, _, aperture = beside.timing()
    reach = aperture / 2.0 + beside.shift()[1]
    time = readings.time
    before = (time > view.begin - reach) & (time < first + reach) & early
    after = (time > last - reach) & (time < view.end + reach) & late
    chosen = readings.take(np.flatnonzero(before | after))
    parts = [
        f"{show(length, 's', 3)} {where}"
        for length, where, there in (
            (first - view.begin, "before the recording", early),
            (view.end - last, "after the recording", late),
        )
        if there
    ]
    if chosen.time.size < 2:
        raise CannotMeasure("the record does not cover the whole step", "a recording that covers the step")
    covered(beside, readings.between(view.begin - reach, view.end + reach))
    spread = float(np.ptp(chosen.values))
    visible = 8.0 * chosen.noise + 2.0 * chosen.step
    if spread > max(STEADY * float(np.max(near.values)), visible):
        raise CannotMeasure(
            f"the record does not cover the whole step, and in the {' and the '.join(parts)} the supply's "
            f"readings are not steady",
            "a recording from before the inrush until the current has settled",
        )
    place = int(np.argmax(chosen.values))
    error = sum(abs(float(each.shape[place])) for each in chosen.systematic) + 2.0 * chosen.noise
    hides = blind_time(update, beside.interval, aperture)
    return _Rest(
        float(chosen.values[place]),
        error,
        f"but for the {' and the '.join(parts)}, which the supply's readings judge: they are steady there "
        f"(they do not see a peak shorter than {show(hides, 's', 3)})",
    )


def _together(measured: Measured, rest: _Rest, unit: str) -> Measured:
    """The recording's peak, where the readings beside it show nothing higher within their error."""
    if rest.largest - rest.error > measured.high:
        raise CannotMeasure(
            f"the record does not cover the whole step, and beside it the supply's readings show "
            f"{amount(rest.largest, unit)}, more than the {amount(measured.value, unit)} in it",
            "a recording that covers the step",
        )
    return replace(
        measured,
        high=max(measured.high, rest.largest + rest.error),
        elsewhere=f"{rest.words} and show at most {amount(rest.largest, unit)}",
    )


def _without_noise(signal: Signal) -> tuple[float, float]:
    """The largest value less what noise lifts it by, and the bound of what is left of that.

    The largest of n values of one level stands E[max of n] above it (Blom's approximation). A top that is
    higher for a while only, but longer than NEIGHBOURS, is seen better in means over that many, which noise
    lifts less.
    """
    import numpy as np

    top = float(np.max(signal.values))
    if signal.noise <= 0.0:
        return top, 0.0
    lifted = signal.noise * _lift(
        int(np.count_nonzero(signal.values > top - 3.0 * signal.noise - signal.step))
    )
    if signal.values.size < 2 * NEIGHBOURS:
        return top - lifted, 0.0
    means = np.convolve(signal.values, np.full(NEIGHBOURS, 1.0 / NEIGHBOURS), mode="valid")
    half = signal.noise / math.sqrt(NEIGHBOURS) * _lift(signal.values.size) / 2.0
    return max(top - lifted, float(np.max(means)) - half), min(lifted, half)


def _lift(count: int) -> float:
    from statistics import NormalDist

    return NormalDist().inv_cdf((count - 0.375) / (count + 0.25)) if count > 1 else 0.0


def _above_samples(signal: Signal, place: int, jump: float) -> tuple[float, float]:
    """How far a round and a sharp top between the samples rise above the largest one; 0 within the noise."""
    if jump <= 0.0 or not 2 <= place < signal.values.size - 2:
        return 0.0, 0.0
    before, left, top, right, after = (float(value) for value in signal.values[place - 2 : place + 3])
    bend = left - 2.0 * top + right
    round_top = (left - right) ** 2 / (-8.0 * bend) if bend < 0.0 else 0.0
    rise, fall = left - before, right - after
    if rise + fall <= 0.0:
        return round_top, round_top
    # The line before, left + rise (x + 1), meets the line after, right + fall (1 - x), in samples from the
    # top.
    crossing = min(1.0, max(-1.0, (right + fall - left - rise) / (rise + fall)))
    sharp_top = left + rise * (crossing + 1.0) - top
    return round_top, min(max(sharp_top, round_top), round_top + jump / 2.0)
