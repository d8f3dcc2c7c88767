"""Numbers as a report prints them: a value and its interval to the digits that the uncertainty supports."""

from __future__ import annotations

import math

from railwright.measures.wording import interval_words
from railwright.quantities import prefix_of, show


def show_limit(lower: float | None, upper: float | None, unit: str) -> str:
    """Tolerance limits in words: 'at most 60 mA', '7 V to 8.2 V'."""
    if lower is not None and upper is not None:
        return f"{number(lower, unit)} to {number(upper, unit)}"
    if upper is not None:
        return f"at most {number(upper, unit)}"
    return f"at least {number(lower, unit)}" if lower is not None else "no limit"


def number(value: float, unit: str) -> str:
    """A single SI value; counts are printed as counts, not as per cent."""
    if not math.isfinite(value):
        return "unbounded" if not math.isnan(value) else "not a number"
    return f"{value:g}" if unit == "1" else show(value, unit)


def _scale(largest: float, unit: str) -> tuple[float, str]:
    if unit == "1":
        return 1.0, ""
    if (unit in ("V", "A") and 0.1 <= largest < 1000) or largest == 0 or not math.isfinite(largest):
        return 1.0, unit
    factor, prefix = prefix_of(largest)
    return factor, prefix + unit


def _interval(low: str, high: float, unit: str) -> str:
    """An interval from an end in words on."""
    return interval_words(low, number(high, unit), high)


def show_measured(
    value: float, low: float, high: float, unit: str, resolution: float = 0.0
) -> tuple[str, str]:
    """Value and 95 % interval, with one prefix and so many decimals that the half-width has two digits.

    Rounding never makes the interval narrower by more than half of the last digit. JCGM 100:2008, 7.2.6. A
    value that is small against its own uncertainty takes the prefix of that, so that it is printed as 0;
    so is one without an uncertainty that is below its resolution.
    """
    if abs(value) < resolution and high == low:
        value = low = high = 0.0
    spread = (high - low) / 2
    # Where something may hide on one side, the other side tells to how many digits the value is known.
    nearer = min(value - low, high - value)
    hides = 0.0 < nearer < spread / 10.0
    if hides:
        spread = nearer
    factor, name = _scale(max(abs(value), spread) if math.isfinite(spread) else abs(value), unit)
    spread /= factor
    if not math.isfinite(spread):
        return number(value, unit), _interval(number(low, unit), high, unit)
    decimals = 0 if unit == "1" and spread == 0 else 3
    if spread > 0:
        decimals = min(6, max(0, 1 - math.floor(math.log10(spread))))
    tail = f" {name}" if name else ""
    text = [f"{part / factor:.{decimals}f}" for part in (value, low, high)]
    text = [part[1:] if float(part) == 0 and part.startswith("-") else part for part in text]
    if hides and high - value > value - low:
        return text[0] + tail, _interval(text[1] + tail, high, unit)
    if hides:
        return text[0] + tail, f"{number(low, unit)} to {text[2]}{tail}"
    return text[0] + tail, f"{text[1]} to {text[2]}{tail}"


def show_standard(value: float, unit: str) -> str:
    """A standard uncertainty with two significant digits, or all digits above the point."""
    if not math.isfinite(value):
        return "unbounded"
    if value == 0 or unit == "1":
        return f"{_two_digits(value)} {'' if unit == '1' else unit}".rstrip()
    factor, prefix = prefix_of(abs(value))
    return f"{_two_digits(value / factor)} {prefix}{'Ω' if unit == 'ohm' else unit}"


def _two_digits(value: float) -> str:
    if value == 0:
        return "0"
    return f"{value:.{max(0, 1 - math.floor(math.log10(abs(value))))}f}"
