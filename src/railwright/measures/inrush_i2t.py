"""I²t of an inrush: what it does to a fuse, a contact, or a diode.

A mean over an aperture, squared, is never above the mean of the squares: readings bound I²t from below only.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from railwright.measures.hiding import UNBROKEN, hidden, missing
from railwright.measures.integral import integral, integral_of_current
from railwright.measures.measure import measure
from railwright.measures.outcome import CannotMeasure, Measured
from railwright.measures.peak import outlining_interval
from railwright.measures.sampling import blind_time
from railwright.measures.wording import amount, rate

if TYPE_CHECKING:
    from railwright.measures.signal import Signal, View

WHAT = "I²t of the inrush"


@measure(
    "A**2*s",
    "inrush I²t",
    ("current",),
    momentary=True,
    only_grows=True,
    sampling=outlining_interval,
    inrush=True,
)
def inrush_i2t(view: View) -> Measured:
    """I²t of the inrush: ∫ i² dt, which heats fuses, contacts and diodes.

    Computed: ∫ i² dt of the current's values by the trapezoid rule, less what noise adds to a square; of a
    rehearsal's rows, which lie far apart on ramps, exactly for straight lines between them. Means over an
    aperture bound it from below; where the readings of several outputs add up, it is bounded by the square of
    the charge over the length of the window.
    Window: as of the inrush charge.
    Uncertainty: 'between readings' (the difference of two neighbouring squares over the time that no value
    covers), 'time of the readings', 'levels between readings' and 'beginning of the step' as of the charge,
    'time base of the recorder'. What hides from readings that are means is no uncertainty but stated beside
    it, with its bound: the square of the largest current that can hide, as of the peak current, over the
    whole window; none where a source in the device may drive current back.
    Standard: none; the trapezoid rule, and JCGM 100 and 101 for the uncertainty.
    """
    current = view.current()
    if view.model.exact:
        return _exactly(view, current)
    if gap := missing(view, current.between(view.begin, view.end).time):
        raise CannotMeasure(gap.words, UNBROKEN)
    squared = _squared(current)
    found = integral(view, squared, mean=False, channels=("current", "current"), what=WHAT)
    found = replace(found, low=max(0.0, found.low))
    return _with_hidden(view, found) if view.model.averages else found


def _exactly(view: View, current: Signal) -> Measured:
    from railwright.measures.budget import Budget
    from railwright.traces import integral_of_product

    if view.end <= view.begin:
        raise CannotMeasure("the window has no length")
    part = current.within(view.begin, view.end)
    value = integral_of_product(part.time, part.values, part.values)
    return Budget(view).result(
        value, f"{WHAT} exactly, of straight lines between {part.time.size} rows of the rehearsal"
    )


def _squared(current: Signal) -> Signal:
    """The square of the current, without what independent noise adds to it in the mean."""
    product = current.times(current)
    return replace(product, values=product.values - current.noise**2)


def _with_hidden(view: View, found: Measured) -> Measured:
    """What readings that are means show is the least that it was; the most hides in them and between them."""
    update, _, aperture = view.timing()
    length = view.end - view.begin
    blind = blind_time(update, view.interval, aperture)
    hides = f"a peak shorter than {amount(blind, 's')} is averaged away or falls between readings"
    highest, unseen, open_above = hidden(view, view.model.current_bound, "A", hides)
    low, value, how = found.low, found.value, f"{found.how}; means over an aperture give the least of it"
    if view.model.summed:
        # Each output is read at a time of its own: a sum of them may never have flowed.
        charge = integral_of_current(view, mean=False, what="charge")
        low, value = (max(0.0, each) ** 2 / length for each in (charge.low, charge.value))
        how = f"at least the square of the {amount(charge.value, 'C')} over {amount(length, 's')}"
    most = math.inf if view.holds > 0.0 else highest**2 * length
    needed = outlining_interval(update, view.every or view.interval, aperture)
    return replace(
        found,
        value=max(0.0, value),
        low=low,
        high=max(found.high, most),
        how=how,
        unseen=unseen,
        hides=hides,
        would_decide=rate(needed),
        open_above=open_above,
    )
