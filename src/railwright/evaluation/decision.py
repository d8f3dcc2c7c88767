"""Decision rules: from a measured value with its coverage interval to pass, fail or inconclusive.

References
----------
.. [1] JCGM 106:2012, The role of measurement uncertainty in conformity assessment: 8.3 guard bands.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from railwright.evaluation.outcome import Outcome
from railwright.measures.outcome import Measured
from railwright.measures.wording import amount, amounts, interval_words, widening_words


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Limits of what is permitted, in the measure's unit; None: open. `each limit itself is permitted`."""

    lower: float | None
    upper: float | None


def decide(
    measured: Measured, tolerance: Tolerance, unit: str, rule: Literal["guarded", "simple"], guard_band: float
) -> tuple[Outcome, str]:
    """Outcome, and the reason in numbers.

    guarded: a pass needs the value inside the limits by at least guard_band · U, a fail outside by at least
    guard_band · U; between the two it is inconclusive [1]_. U is the distance from the value to the end of
    its 95 % interval on that side. simple: the value alone decides. By either rule, a limit that lies between
    the value and what was true in a rehearsal that was read so is neither passed nor failed. Where something
    can hide from the readings, neither rule passes an upper limit; where it can take all of the value away,
    neither passes a lower one, nor fails an upper one. Where all that can hide lies within the interval, its
    ends decide.
    """
    band = guard_band if rule == "guarded" else 0.0
    low = measured.value - band * (measured.value - measured.low)
    if measured.unseen and measured.low <= 0.0:
        low = min(low, measured.low)
    high = measured.value + band * (measured.high - measured.value)
    if measured.enclosed:
        low, high = min(low, measured.low), max(high, measured.high)
    hides = bool(measured.unseen) and not measured.enclosed
    # What was true there, and the spare part beyond it: a widened interval reaches farther by half of what it
    # had on that side.
    if measured.widened_below:
        low = min(low, (measured.value + measured.low - measured.widened_below) / 2)
    if measured.widened_above:
        high = max(high, (measured.value + measured.high + measured.widened_above) / 2)
    stated = _stated(measured, unit)
    lower, upper = tolerance.lower, tolerance.upper
    if upper is not None and low > upper:
        return Outcome.FAIL, f"{stated} is above the limit of {amount(upper, unit)}{_by(band)}"
    if lower is not None and high < lower and not hides:
        return Outcome.FAIL, f"{stated} is below the limit of {amount(lower, unit)}{_by(band)}"
    within = (upper is None or high <= upper) and (lower is None or low >= lower)
    # What nobody has seen passes no upper limit.
    if (hides and upper is not None) or (measured.unseen and not within):
        told = f"the readings show {stated}, but {measured.unseen}"
        return Outcome.INCONCLUSIVE, f"{told}{advice(measured.would_decide)}"
    if within:
        return Outcome.PASS, f"{stated} is within the limits{_by(band)}"
    crossed = upper if upper is not None and high > upper else lower
    assert crossed is not None
    told = f"{stated} is too uncertain against the limit of {amount(crossed, unit)}"
    # Of the end of the interval that reaches beyond it.
    widened = measured.widened_above if measured.value <= crossed else measured.widened_below
    if widened:
        told += f" ({widening_words(widened, unit)})"
    return Outcome.INCONCLUSIVE, f"{told}{advice(measured.would_decide)}"


def _by(band: float) -> str:
    return f" by {band:g} × U or more" if band else ""


def _stated(measured: Measured, unit: str) -> str:
    elsewhere = f", {measured.elsewhere}," if measured.elsewhere else ""
    if measured.low == measured.high:
        return f"{amount(measured.value, unit)}{elsewhere}"
    value, *ends = amounts(unit, measured.value, measured.low, measured.high)
    return f"{value} (95 % interval {interval_words(ends[0], ends[1], measured.bounded)}){elsewhere}"


def advice(would_decide: str) -> str:
    """What would decide a requirement, to come after why nothing does; empty where nothing is known to."""
    return f"; {would_decide} would decide it" if would_decide else ""
