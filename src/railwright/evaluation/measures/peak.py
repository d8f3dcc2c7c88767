"""Peak current and peak voltage, with what may hide between readings.

A mean over an aperture is never above the peak: it bounds the peak from below only. What lies above it can be
anything up to the limit that was set, and for less than the limit's response time even more. A recorder's
samples see a peak that several of them in a row outline.
"""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np

from railwright.evaluation.budget import Budget
from railwright.evaluation.measures.integral import covered
from railwright.evaluation.outcome import Measured
from railwright.evaluation.reading import Bound
from railwright.evaluation.signal import Signal, View
from railwright.evaluation.wording import amount, rate

SAMPLES = 200.0
"""Samples that a recording should have within what the readings cannot see into."""

NEIGHBOURS = 5
"""Values in a row whose mean tells a top from noise."""

SHARPNESS = 0.25
"""Where between a round and a sharp top the best estimate of a peak between samples lies."""

SPREAD = 0.6
"""Bound of that estimate's error, in parts of the difference of the two tops."""

RESOLVED = 0.2
"""A peak is outlined when its neighbours differ from it by less than this part of the whole range."""


def peak_current(view: View) -> Measured:
    """Largest current in the step [A]."""
    return _peak(view, view.current(), view.model.current_bound, "A", "current")


def peak_voltage(view: View) -> Measured:
    """Largest voltage in the step [V]."""
    return _peak(view, view.voltage(), view.model.voltage_bound, "V", "voltage")


def _peak(view: View, signal: Signal, bound: Bound | None, unit: str, what: str) -> Measured:
    update, _, aperture = view.timing()
    late = view.shift()[1]
    # A value belongs to the step where any part of its aperture may have lain in it.
    near = signal.between(view.begin - aperture / 2.0 - late, view.end + aperture / 2.0 + late)
    covered(view, near)
    place = int(np.argmax(near.values))
    budget = Budget(view)
    weights = np.zeros(near.time.size)
    weights[place] = 1.0
    budget.systematic(near, weights)
    budget.noise(near, weights)
    value, spread_of_lift = _without_noise(near)
    budget.bounded("noise of the largest", spread_of_lift)
    if view.model.averages:
        sees = max(update, view.interval) + aperture
        highest, unseen = _hidden(view, bound, unit, sees)
        how = f"largest of {near.time.size} readings; a mean over an aperture is at most the peak"
        return budget.at_least(value, highest, how, unseen=unseen, would_decide=rate(sees / SAMPLES))
    if view.model.exact:
        return budget.result(value, "largest value")
    beside = np.abs(np.diff(near.values[max(0, place - 1) : place + 2]))
    jump = max(0.0, float(np.max(beside)) - 3.0 * math.sqrt(2.0) * near.noise) if beside.size else 0.0
    # A round top follows the parabola through the three highest samples, a sharp one the lines on either
    # side. Inductance and capacitance round tops: the estimate lies nearer to the parabola.
    round_top, sharp_top = _above_samples(near, place, jump)
    value += round_top + SHARPNESS * (sharp_top - round_top)
    budget.bounded("between samples", SPREAD * (sharp_top - round_top))
    how = f"largest {what} of {near.time.size} samples"
    spread = float(np.ptp(near.values))
    if jump > RESOLVED * spread > 0.0:
        return budget.at_least(
            value,
            value if bound is None else bound.value + bound.tolerance,
            how,
            unseen=f"the peak stands on fewer than three samples {amount(view.interval, 's')} apart",
            would_decide=rate(view.interval / 20.0),
        )
    return budget.result(value, how, would_decide="a recorder with a smaller error")


def _hidden(view: View, bound: Bound | None, unit: str, sees: float) -> tuple[float, str]:
    """The largest value that can hide between readings, and why, in words.

    A current limit holds a current only after its response time; until then the output capacitor feeds the
    load, and nothing but the lead limits the current.
    """
    unseen = f"a peak shorter than {amount(sees, 's')} is averaged away or falls between readings"
    if bound is None:
        return math.inf, unseen
    unseen += f": anything up to {bound.what}, {amount(bound.value, unit)}"
    highest = bound.value + bound.tolerance
    if unit != "A":
        return highest, unseen
    response = view.model.limit_response
    time = (
        f"less than its response time of {amount(response, 's')}"
        if response
        else "its response time (unknown)"
    )
    if view.model.lead is None or view.model.voltage_bound is None or view.model.lead[0] <= 0.0:
        return math.inf, f"{unseen}, and for {time} what the lead lets through (unknown)"
    surge = (view.model.voltage_bound.value + view.model.voltage_bound.tolerance) / view.model.lead[0]
    return max(
        highest, surge
    ), f"{unseen}, and for {time} up to {amount(surge, unit)} that the lead lets through"


def _without_noise(signal: Signal) -> tuple[float, float]:
    """The largest value less what noise lifts it by, and the bound of what is left of that.

    The largest of n values of one level stands E[max of n] above it (Blom's approximation). A top that is
    higher for a while only, but longer than NEIGHBOURS, is seen better in means over that many, which noise
    lifts less.
    """
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
