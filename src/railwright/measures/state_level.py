"""High and low state level of the voltage in a step, by the histogram-mode method of IEEE 181."""

from __future__ import annotations

from typing import TYPE_CHECKING

from railwright.measures.integral import covered
from railwright.measures.measure import measure
from railwright.measures.outcome import Measured

if TYPE_CHECKING:
    from railwright.measures.signal import View

LEAST_AMPLITUDE = 0.02
"""A waveform that varies by less than this part of its largest value is in one state."""


@measure("V", "high state level", ("voltage",), level_of="voltage")
def high_state_level(view: View) -> Measured:
    """Level of the voltage's upper state.

    Computed: the median of the values in the fullest of the upper 50 of 100 bins, and in the two beside it.
    Where all values differ by less than 2 % of the largest (or than noise and resolution explain), there is
    one state and its level is the median.
    Window: the step, from the switching-on where it lies in the step.
    Uncertainty: 'values beside the level' (values on their way to or from the level lie in its bins as well).
    Standard: IEEE 181-2011, state levels by the histogram-mode method.
    """
    return _level(view, high=True)


@measure("V", "low state level", ("voltage",), level_of="voltage")
def low_state_level(view: View) -> Measured:
    """Level of the voltage's lower state.

    Computed: as the upper state, of the lower 50 bins.
    Window: as of the upper state.
    Uncertainty: 'values beside the level' (values on their way to or from the level lie in its bins as well).
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
    largest = float(np.max(np.abs(inside.values)))
    levels = state_levels(
        inside.values, max(LEAST_AMPLITUDE * largest, 8.0 * inside.noise + 2.0 * inside.step)
    )
    chosen = levels.high_values if high else levels.low_values
    weights = chosen / np.count_nonzero(chosen)
    budget = Budget(view)
    budget.systematic(inside, weights)
    budget.noise(inside, weights)
    level = levels.high if high else levels.low
    if not view.model.exact:
        # Values on their way to or from the level lie in its bins as well, and pull the median.
        values = inside.values[chosen]
        steady = values[np.abs(values - level) <= 4.0 * inside.noise + 2.0 * inside.step]
        budget.bounded("values beside the level", 2.0 * (level - float(np.median(steady))))
    states = "two states" if levels.two_states else "one state"
    how = f"histogram mode (IEEE 181) of {inside.time.size} values, {states}"
    return budget.result(level, how, would_decide="an instrument with a smaller error")
