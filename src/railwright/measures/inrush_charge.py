"""Charge of an inrush: what flows into the input within a stated time from the switching-on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from railwright.measures.integral import integral_of_current
from railwright.measures.measure import measure

if TYPE_CHECKING:
    from railwright.measures.outcome import Measured
    from railwright.measures.signal import View


@measure("C", "inrush charge", ("current",), inrush=True)
def inrush_charge(view: View) -> Measured:
    """Charge that flows into the input during the inrush.

    Computed: ∫ i dt as of the charge, with what the load draws meanwhile.
    Window: `within`, which the requirement states, from the switching-on; in a step that does not switch the
    input on, from the beginning of the step. There is none where the step is over before.
    Uncertainty: as of the charge ('between readings', 'charging between readings', 'levels between readings',
    'charge of the input's capacitance', 'time of the readings', 'beginning of the step', 'missing samples',
    'time base of the recorder').
    Standard: none; the trapezoid rule, and JCGM 100 and 101 for the uncertainty.
    """
    return integral_of_current(view, mean=False, what="inrush charge")
