"""Charge, energy, and means over a step: integrals of the readings by the trapezoid rule.

What the readings do not cover lies between two neighbours and is taken to be anything between them; how late
a reading is, is unknown within an update interval and moves the window against the waveform.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from railwright.measures.measure import measure
from railwright.measures.outcome import CannotMeasure, Measured

if TYPE_CHECKING:
    import numpy as np

    from railwright.measures.signal import Array, Signal, View

LARGEST_GAP = 0.1
"""A hole in the record longer than this part of the window (and than three readings) makes it unusable."""

HELD = 0.1
"""Part of the largest value from which on what stands before the switching-on is held there (chosen)."""


@measure("C", "charge", ("current",))
def charge(view: View) -> Measured:
    """Charge that flows into the input.

    Computed: ∫ i dt of the current's values by the trapezoid rule.
    Window: the step, from the switching-on where it lies in the step; a value whose aperture may reach beyond
    the end is left out, and the last one stands up to it.
    Uncertainty: 'between readings' (the difference of two neighbours over the time that no aperture covers),
    'time of the readings' (the window moved by how late a reading may be).
    Standard: none; the trapezoid rule, and JCGM 100 and 101 for the uncertainty.
    """
    return integral(view, view.current(), mean=False, what="charge")


@measure("J", "energy", ("voltage", "current"))
def energy(view: View) -> Measured:
    """Energy that flows into the input.

    Computed: ∫ v i dt by the trapezoid rule, of the instants that both channels have; of a rehearsal's rows,
    which lie far apart on ramps, exactly for straight lines between them.
    Window: as of the charge.
    Uncertainty: 'between readings' (the difference of two neighbours over the time that no aperture covers),
    'time of the readings' (the window moved by how late a reading may be), 'product within an aperture' (v
    and i are averaged apart: Δv Δi / 6 of neighbours at most).
    Standard: none; the trapezoid rule, and JCGM 100 and 101 for the uncertainty.
    """
    return _product(view, mean=False, what="energy")


@measure("A", "mean current", ("current",), level_of="current", mean=True)
def mean_current(view: View) -> Measured:
    """Mean current.

    Computed: the charge over the window, divided by its length: a mean over time, not over values.
    Window: the step, from the switching-on where it lies in the step; of a sweep's point its second half.
    Uncertainty: 'between readings' (the difference of two neighbours over the time that no aperture covers),
    'time of the readings' (the window moved by how late a reading may be).
    Standard: none; the trapezoid rule, and JCGM 100 and 101 for the uncertainty.
    """
    return integral(view, view.current(), mean=True, what="mean current")


@measure("V", "mean voltage", ("voltage",), level_of="voltage", mean=True)
def mean_voltage(view: View) -> Measured:
    """Mean voltage.

    Computed: ∫ v dt by the trapezoid rule, divided by the length of the window.
    Window: as of the mean current.
    Uncertainty: 'between readings' (the difference of two neighbours over the time that no aperture covers),
    'time of the readings' (the window moved by how late a reading may be).
    Standard: none; the trapezoid rule, and JCGM 100 and 101 for the uncertainty.
    """
    return integral(view, view.voltage(), mean=True, what="mean voltage")


@measure("W", "mean power", ("voltage", "current"))
def mean_power(view: View) -> Measured:
    """Mean power.

    Computed: the energy over the window, divided by its length.
    Window: as of the mean current.
    Uncertainty: 'between readings' (the difference of two neighbours over the time that no aperture covers),
    'time of the readings' (the window moved by how late a reading may be), 'product within an aperture'.
    Standard: none; the trapezoid rule, and JCGM 100 and 101 for the uncertainty.
    """
    return _product(view, mean=True, what="mean power")


def _product(view: View, *, mean: bool, what: str) -> Measured:
    from railwright.measures.budget import Budget
    from railwright.traces import integral_of_product

    voltage, current = view.voltage(), view.current()
    voltage, current = _same_instants(voltage, current)
    if view.model.exact and view.end > view.begin:
        voltage, current = voltage.within(view.begin, view.end), current.within(view.begin, view.end)
        length = view.end - view.begin if mean else 1.0
        value = integral_of_product(voltage.time, voltage.values, current.values) / length
        how = f"{what} exactly, of straight lines between {voltage.time.size} rows of the rehearsal"
        return Budget(view).result(value, how)
    return integral(view, voltage.times(current), mean=mean, what=what, factors=(voltage, current))


def _same_instants(first: Signal, second: Signal) -> tuple[Signal, Signal]:
    """Both channels at the instants that both have (a lost reading of one is left out of both)."""
    import numpy as np

    if first.time.size == second.time.size:
        return first, second
    _, left, right = np.intersect1d(first.time, second.time, return_indices=True)
    return first.take(left), second.take(right)


def integral(
    view: View, signal: Signal, *, mean: bool, what: str, factors: tuple[Signal, Signal] | None = None
) -> Measured:
    """Integral of a channel over the step by the trapezoid rule; mean: divided by the step's length.

    signal: may be a product of two channels; factors: those two, for what a product of means over an aperture
    loses. what: what it is called. Raises CannotMeasure where the values do not cover the step.
    """
    import numpy as np

    from railwright.measures.budget import Budget
    from railwright.measures.signal import trapezoid_weights

    start, end = view.begin, view.end
    if end <= start:
        raise CannotMeasure("the step has no length")
    _, least_aperture, _ = view.timing()
    near, early = _of_step(view, signal)
    covered(view, near)
    weights = trapezoid_weights(near.time, start - early, end)
    scale = 1.0 / (end - start) if mean else 1.0
    budget = Budget(view)
    budget.systematic(near, weights * scale)
    budget.noise(near, weights * scale)
    value = math.fsum(weights * near.values) * scale
    how = f"{what} by the trapezoid rule over {near.time.size} values in {end - start:.4g} s"
    if view.model.exact:
        return budget.result(value, how)
    # What changes between two readings: bounded by their difference over the time that no aperture covers.
    gaps = np.diff(near.time)
    inside = (near.time[1:] > start - early) & (near.time[:-1] < end)
    unseen = np.maximum(0.0, gaps - least_aperture)
    differences = np.maximum(0.0, _changes(near.values) - 2.0 * near.noise)
    budget.many("between readings", _together((differences * unseen / 2.0 * scale)[inside]))
    # A window that lies a little early or late gains at one end what it loses at the other.
    late = view.shift()[1]
    moved = [
        math.fsum(trapezoid_weights(near.time, start - early + shift, end + shift) * near.values) * scale
        - value
        for shift in (-late, -late / 2.0, late / 2.0, late)
    ]
    budget.bounded("time of the readings", max(abs(change) for change in moved))
    if factors is not None and view.model.averages:
        budget.many("product within an aperture", _covariance(view, factors, start, end) * scale)
    return budget.result(value, how, would_decide="an instrument with a smaller error, or faster readings")


def _of_step(view: View, signal: Signal) -> tuple[Signal, float]:
    """The values that tell of the step, and how much before its start they are to be integrated [s].

    Steps begin and end with a set point that changes. What the change at the end does belongs to the next
    step: values whose aperture may reach beyond the end are left out, and the last one stands up to it.
    Before it is switched on an input draws nothing: what a late reading puts there belongs to the step. But
    where the device itself holds a voltage before, as a battery does, that is no part of it.
    """
    import numpy as np

    from railwright.measures.signal import Systematic

    if view.model.exact:
        return _around(signal, view.begin, view.end), 0.0
    update, _, aperture = view.timing()
    late = view.shift()[1]
    switched = view.off_until is not None and view.off_until >= view.start - late
    early = update + aperture + view.model.clock if switched else 0.0
    near = _around(signal, view.begin - early - late, view.end)
    if switched and near.time.size and abs(near.values[0]) > HELD * float(np.abs(near.values).max()):
        switched, early = False, 0.0
        near = _around(signal, view.begin - late, view.end)
    certain = int(np.searchsorted(near.time, view.end - aperture / 2.0 - late, side="right"))
    near = near.take(np.arange(max(min(2, near.time.size), certain)))
    before = near.time[0] - view.interval if near.time.size else 0.0
    if switched and near.time.size and near.time[0] > view.begin - early > before - view.interval:
        parts = tuple(Systematic(s.source, np.append(0.0, s.shape)) for s in near.systematic)
        time, values = np.append(before, near.time), np.append(0.0, near.values)
        near = replace(near, time=time, values=values, systematic=parts)
    return near, early


def _together(half_widths: Array) -> Array:
    """The two largest as one: both edges of a pulse meet the same phase of the readings."""
    import numpy as np

    ordered = np.sort(half_widths)[::-1]
    return np.append(ordered[:2].sum(), ordered[2:])


def _changes(values: Array) -> Array:
    """How much the waveform may have changed in one go between two neighbours, shape (n - 1,).

    A jump inside an aperture is spread over two differences; each then counts for the whole jump, less √2.
    """
    import numpy as np

    steps = np.diff(values)
    two = np.abs(steps[1:] + steps[:-1]) / math.sqrt(2.0)
    changes: Array = np.maximum(np.abs(steps), np.maximum(np.append(0.0, two), np.append(two, 0.0)))
    return changes


def _around(signal: Signal, start: float, end: float) -> Signal:
    """The values inside the window and one more on either side."""
    import numpy as np

    first = max(0, int(np.searchsorted(signal.time, start, side="left")) - 1)
    last = min(signal.time.size, int(np.searchsorted(signal.time, end, side="right")) + 1)
    return signal.take(np.arange(first, last))


def covered(view: View, signal: Signal, *, seen_elsewhere: bool = False) -> None:
    """Raises CannotMeasure where the values do not span the window, or leave a hole in it.

    seen_elsewhere: what lies before the first value and after the last one is known from another record.
    """
    import numpy as np

    if signal.time.size < 2:
        view.overlaps()
        raise CannotMeasure("the record holds no values in this step", "a recording that covers the step")
    if view.model.exact:
        return
    allowed = 3.0 * max(view.interval, view.model.update or 0.0)
    slack = allowed + view.shift()[1]
    edge = slack + (view.model.aperture or 0.0)
    short = signal.time[0] > view.begin + slack or signal.time[-1] < view.end - edge - view.shift()[1]
    if short and not seen_elsewhere:
        raise CannotMeasure("the record does not cover the whole step", "a recording that covers the step")
    hole = float(np.max(np.diff(signal.time)))
    if hole > max(allowed, LARGEST_GAP * (view.end - view.begin)):
        raise CannotMeasure(
            f"the record has a hole of {hole:.3g} s in this step", "a recording without holes"
        )


def _covariance(view: View, factors: tuple[Signal, Signal], start: float, end: float) -> np.ndarray:
    """Bounds of what v i loses by averaging v and i apart: two lines over an aperture give Δv Δi / 12, each
    way.
    """
    import numpy as np

    voltage, current = (_around(factor, start, end) for factor in factors)
    steps = np.abs(np.diff(voltage.values)) * np.abs(np.diff(current.values))
    noise = 4.0 * voltage.noise * current.noise
    return np.maximum(0.0, steps - noise) / 6.0 * np.diff(voltage.time)
