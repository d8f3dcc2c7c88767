"""How numbers are worded in the reasons of an evaluation."""

from __future__ import annotations

import math

from railwright.measures.sampling import sample_rate
from railwright.quantities import show

TOLD_DIGITS = 5
"""Digits with which a value is told by itself."""


def amount(value: float, unit: str) -> str:
    """A value with its unit; a count is a plain number."""
    return f"{value:g}" if unit == "1" else show(value, unit, TOLD_DIGITS)


MOST_DIGITS = 9
"""Digits with which values that are told beside each other are printed at most."""


def amounts(unit: str, *values: float) -> list[str]:
    """Values with their unit, to as many digits as tell those apart that differ."""
    if unit == "1":
        return [amount(value, unit) for value in values]
    different = len(set(values))
    told = ([show(value, unit, digits) for value in values] for digits in range(TOLD_DIGITS, MOST_DIGITS + 1))
    return next((each for each in told if len(set(each)) == different), [amount(v, unit) for v in values])


def interval_words(low: str, high: str, bounded: float) -> str:
    """An interval of these ends in words; one that nothing bounds from above, where `bounded` is infinite, as
    what it is no less than.
    """
    return f"≥ {low}" if bounded == math.inf else f"{low} to {high}"


def widening_words(widened: float, unit: str) -> str:
    """That an interval is wider by this because the readings of a rehearsal miss the true value."""
    wider = f"the interval is wider by {amount(widened, unit)}"
    return f"in a rehearsal of the step, readings like these miss the true value: {wider}"


class AdvisedRecording(str):
    """A recording that would decide a requirement, in words. interval: longest time between two of its
    samples [s]; None: shorter than that of the readings.
    """

    interval: float | None = None


def recording(words: str, interval: float | None = None) -> AdvisedRecording:
    """Advice of a recording."""
    made = AdvisedRecording(words)
    made.interval = interval
    return made


def rate(interval: float) -> AdvisedRecording:
    """'a recording with at least N samples/s' for this interval [s]."""
    return recording(f"a recording with at least {sample_rate(interval)}", interval)
