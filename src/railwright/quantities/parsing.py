"""Text to SI numbers: '12 V', '9 V .. 16 V', '1000 uF ± 20 %'. A wrong text is a ValueError of one sentence.

Each message says what was expected, what came, and, where that can be told, what to write instead.
"""

from __future__ import annotations

import re

from railwright.quantities.units import (
    CELSIUS,
    DIMENSION_NAMES,
    EXAMPLE_NUMBERS,
    EXAMPLE_UNITS,
    EXAMPLES,
    RANGES,
    factor,
    power_of_ten,
)
from railwright.quantities.values import DISTRIBUTIONS, Interval, Uncertain

_MANTISSA = r"[+\-−]?(?:\d+(?:\.\d*)?|\.\d+)"
_QUANTITY = re.compile(
    rf"\s*({_MANTISSA})(?:[eE]([+\-−]?\d{{1,9}})(?![.\d]))?\s*(.*?)\s*", re.ASCII | re.DOTALL
)
_RANGE = re.compile(r"\.{2,3}|…")
_TOLERANCE = re.compile(r"±|\+/[-−]|\+[-−]")
_BLANKS = {ord(blank): " " for blank in "\u00a0\u2007\u2009\u202f"}
_DISTRIBUTION = re.compile(
    rf"(.*\S)\s+({'|'.join(DISTRIBUTIONS)})(?:\s+k\s*=\s*(\d+(?:\.\d+)?))?\s*", re.ASCII | re.DOTALL
)
# What only a wrong text is compared with is compiled when there is one.
_COMMA = r"(?s)\s*([+\-−]?\d+),(\d+)(.*)"
_DASH = rf"(?as)\s*(\S+.*?)\s*(?:-|–|—|\bto\b)\s*({_MANTISSA}.*)"
_WORDS_BEHIND = r"(?as)(.*\S)\s+([A-Za-z]{3,}(?:\s+k\s*=.*)?)"
LONGEST = 100
SMALLEST, LARGEST = 1e-18, 1e15
"""Between these lies the amount of every quantity that is not zero, in SI units: far beyond any bench, and
near enough that what is worked out of several of them stays a number.
"""


def quoted(given: object) -> str:
    """What came, for a line of a message: in quotes, unprintable characters escaped, cut where it is long."""
    if given is None:
        return "nothing"
    if isinstance(given, dict):
        return "keys with values"
    if isinstance(given, list | tuple):
        return "a list"
    if not isinstance(given, str):
        return repr(given)[:LONGEST]
    text = given if len(given) <= LONGEST else given[: LONGEST - 3] + "..."
    return "'" + "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text) + "'"


def blanks(text: object) -> object:
    """The same with plain blanks for the no-break and thin ones that word processors put before a unit."""
    return text.translate(_BLANKS) if isinstance(text, str) and len(text) <= LONGEST else text


def parse_value(text: object, unit: str) -> float:
    """One quantity in SI units. ValueError says what was expected and what came."""
    text = blanks(text)
    expected = f"expected {DIMENSION_NAMES[unit]} such as '{EXAMPLES[unit]}', got {quoted(text)}"
    if not isinstance(text, str):
        bare = isinstance(text, int | float)
        raise ValueError(f"{expected} without a unit; add it" if bare else expected)
    match = _QUANTITY.fullmatch(text) if len(text) <= LONGEST else None
    if match is None:
        hint = "; write one value, not a range" if _RANGE.search(text) else ""
        raise ValueError(f"{expected}{hint}")
    mantissa, exponent, unit_text = match[1].replace("−", "-"), match[2], match[3]
    if "," in text and (comma := re.fullmatch(_COMMA, text)):
        raise ValueError(f"{expected}; write a decimal point: '{comma[1]}.{comma[2]}{comma[3].rstrip()}'")
    if _RANGE.search(unit_text) or _TOLERANCE.search(unit_text):
        raise ValueError(f"{expected}; write one value, without a range or tolerance")
    power = int(exponent.replace("−", "-")) if exponent else 0
    if not unit_text and unit not in ("1", "degC") and float(mantissa) != 0.0:
        raise ValueError(f"{expected} without a unit; add it")
    number = _scaled(mantissa, power, unit_text, unit, expected)
    if not abs(number) <= LARGEST:
        raise ValueError(f"{expected}, which is too large a number")
    if abs(number) < SMALLEST and any(digit in mantissa for digit in "123456789"):
        raise ValueError(f"{expected}, which is too small a number; write 0 for none")
    return number


def _scaled(mantissa: str, power: int, unit_text: str, unit: str, expected: str) -> float:
    """The number in SI units; a power of ten is applied to the digits, so that '40 ms' is exactly 0.04."""
    if unit == "degC":
        if unit_text not in CELSIUS:
            raise ValueError(f"{expected}; write degrees Celsius as '°C'")
        return float(f"{mantissa}e{power}")
    if not unit_text:
        return float(f"{mantissa}e{power}")
    shift = power_of_ten(unit_text, unit)
    if shift is not None:
        return float(f"{mantissa}e{power + shift}")
    if power_of_ten(whole := f"{unit_text}{unit}", unit) is not None:
        number = f"{mantissa}e{power}" if power else mantissa
        raise ValueError(f"{expected}: '{unit_text}' is no unit of it; write '{number} {whole}'")
    try:
        return float(f"{mantissa}e{power}") * factor(unit_text, unit)
    except ValueError as error:
        raise ValueError(f"{expected}: {error}") from None


def parse_interval(text: object, unit: str) -> Interval:
    """A range 'low .. high' in SI units, low not above high."""
    text = blanks(text)
    if not isinstance(text, str) or len(text) > LONGEST or not (separator := _RANGE.search(text)):
        hint = ""
        dash = re.fullmatch(_DASH, text) if isinstance(text, str) and len(text) <= LONGEST else None
        if dash and dash[1].strip():
            hint = f"; write {quoted(f'{dash[1].strip()} .. {dash[2].strip()}')}"
        raise ValueError(f"expected a range such as '{example_range(unit)}', got {quoted(text)}{hint}")
    low_text, high_text = text[: separator.start()].strip(), text[separator.end() :].strip()
    low_number = _QUANTITY.fullmatch(low_text)
    if (
        low_number is not None
        and not (low_number[2] or low_number[3])
        and unit != "1"
        and float(low_text.replace("−", "-")) != 0.0
        and (match := _QUANTITY.fullmatch(high_text))
        and match[3]
    ):
        raise ValueError(
            f"expected a range with a unit at both ends, got {quoted(text)}; "
            f"write '{low_text} {match[3]} .. {high_text}'"
        )
    if not low_text or not high_text:
        raise ValueError(
            f"expected a range such as '{example_range(unit)}', got {quoted(text)}; write both ends"
        )
    low, high = parse_value(low_text, unit), parse_value(high_text, unit)
    if low > high:
        raise ValueError(
            f"expected a range from low to high, got {quoted(text)}, which is upside down; "
            f"write '{high_text} .. {low_text}'"
        )
    return Interval(low, high, text)


def example_range(unit: str) -> str:
    """A range of this SI unit, as a document may hold it."""
    return RANGES.get(unit, f"{EXAMPLES[unit]} .. {2 * EXAMPLE_NUMBERS[unit]:g} {EXAMPLE_UNITS[unit]}")


def parse_uncertain(text: object, unit: str) -> Uncertain:
    """'X', 'X ± Y', 'X ± Y %' or 'low .. high' in SI units; ± is a bound, and in % relative to X. Where X is
    in % itself, that could mean percentage points as well: it is refused unless both are the same.

    A distribution may follow the bounds: 'X ± Y normal k=2' (± is two standard deviations).
    """
    text = blanks(text)
    if isinstance(text, str) and len(text) <= LONGEST and (named := _DISTRIBUTION.fullmatch(text)):
        return _with_distribution(named, unit)
    if isinstance(text, str) and len(text) <= LONGEST:
        if _RANGE.search(text):
            interval = parse_interval(text, unit)
            return Uncertain((interval.low + interval.high) / 2, interval.low, interval.high, text)
        if separator := _TOLERANCE.search(text):
            nominal = parse_value(text[: separator.start()].strip(), unit)
            nominal_text, spread_text = text[: separator.start()].strip(), text[separator.end() :].strip()
            spread = _spread(spread_text, nominal, unit, text)
            if unit == "1" and nominal_text.endswith("%") and spread_text.endswith("%"):
                _refuse_points(nominal, spread, text)
            return Uncertain(nominal, nominal - spread, nominal + spread, text)
    value = parse_value(text, unit)
    return Uncertain(value, value, value, str(text))


def _with_distribution(named: re.Match[str], unit: str) -> Uncertain:
    """Bounds with the name of a distribution behind them."""
    bounds, name, k_text = named[1], named[2], named[3]
    value = parse_uncertain(bounds, unit)
    if value.certain:
        raise ValueError(
            f"expected bounds before a distribution such as '{bounds} ± 10 % {name}', got {quoted(named[0])}"
        )
    k = float(k_text) if k_text else 0.0
    if (name == "normal") != (k > 0.0):
        raise ValueError(
            f"expected 'normal k=2' (the bounds are two standard deviations), or one of "
            f"{', '.join(DISTRIBUTIONS[:-1])} alone, got {quoted(named[0])}"
        )
    return Uncertain(value.nominal, value.low, value.high, named[0], name, k)


def _spread(spread_text: str, nominal: float, unit: str, text: str) -> float:
    """Half the width of the bounds, in the unit of the nominal value."""
    relative = spread_text.endswith("%")
    if relative and unit == "degC":
        raise ValueError(f"expected a tolerance in degrees such as '23 °C ± 3 °C', got {quoted(text)}")
    try:
        spread = abs(nominal) * parse_value(spread_text, "1") if relative else parse_value(spread_text, unit)
    except ValueError:
        if (words := re.fullmatch(_WORDS_BEHIND, spread_text)) and _is_spread(words[1], unit):
            names = ", ".join(("normal k=2", *DISTRIBUTIONS[:-1]))
            raise ValueError(
                f"expected one of {names} behind a tolerance, or nothing, got {quoted(words[2])} in "
                f"{quoted(text)}"
            ) from None
        example = f"± 2 {EXAMPLE_UNITS[unit]}"
        raise ValueError(
            f"expected a tolerance such as '± 10 %' or '{example}', got {quoted(text)}; "
            "uneven bounds are written 'low .. high'"
        ) from None
    if spread < 0:
        raise ValueError(f"expected a tolerance of zero or more after ±, got {quoted(text)}")
    return spread


def _refuse_points(nominal: float, spread: float, text: str) -> None:
    """ValueError where a tolerance in % of a figure in % means one thing in points and another in parts."""
    if not spread or nominal == 1.0:
        return
    points = spread / abs(nominal)
    in_points, in_parts = (
        f"'{100 * (nominal - each):.6g} % .. {100 * (nominal + each):.6g} %'" for each in (points, spread)
    )
    raise ValueError(
        f"expected both ends of a figure in percent, got {quoted(text)}, which may be points or parts of it; "
        f"write {in_points} or {in_parts}"
    )


def _is_spread(text: str, unit: str) -> bool:
    """Whether a text is a tolerance such as '20 %' or '2 uF'."""
    try:
        parse_value(text, "1" if text.endswith("%") else unit)
    except ValueError:
        return False
    return True
