"""SI numbers as people read them: `show(0.0405, "s")` is '40.5 ms'."""

from __future__ import annotations

import math

_PREFIXES = ((9, "G"), (6, "M"), (3, "k"), (0, ""), (-3, "m"), (-6, "µ"), (-9, "n"), (-12, "p"))
_LARGE = {"ohm": 9, "V/s": 6}
"""Unit -> its largest power with a prefix; 3 for the others, since 'M' is refused there as a slip for 'm'."""
_SYMBOLS = {
    "ohm": "Ω",
    "degC": "°C",
    "1": "%",
    "m**2": "mm²",
    "A**2*s": "A²s",
    "kg*m**2": "g·cm²",
    "N*m": "N·m",
    "N*m/A": "N·m/A",
    "N*m*s": "N·m·s",
}
_WITHOUT_PREFIX = {"degC": 1.0, "1": 100.0, "A**2*s": 1.0, "m**2": 1e6, "kg*m**2": 1e7}
"""Unit -> by how much its printed one is smaller."""

NOTHING = 1e-15
"""A thousandth of the smallest prefix: less is what rounding leaves of 0."""


def round_up(value: float, digits: int = 2) -> float:
    """A figure rounded up to so many significant digits, for what people are to write or look for."""
    return -round_down(-value, digits) if value > 0.0 else value


def round_down(value: float, digits: int = 2) -> float:
    """A figure rounded down to so many significant digits."""
    step = 10.0 ** (math.floor(math.log10(abs(value) or 1.0)) - digits + 1)
    return float(f"{math.floor(value / step + 1e-9) * step:.6g}")


def show(value: float, unit: str, digits: int = 4, *, resolution: float = 0.0) -> str:
    """Print an SI value with `digits` significant digits and an engineering prefix.

    unit: an SI unit of `DIMENSION_NAMES`. Volts and amperes from 0.1 keep their plain unit; times from a
    second stay in seconds; areas are in mm², moments of inertia in g·cm²; temperatures and ratios are printed
    as they are read. What is printed can be parsed again; what is below `NOTHING`, or below the resolution of
    the figure (SI), is printed as 0.
    """
    symbol = _SYMBOLS.get(unit, unit)
    if not math.isfinite(value):
        return f"{value} {symbol}"
    if abs(value) < max(resolution, 0.0 if unit in _WITHOUT_PREFIX else NOTHING):
        value = 0.0
    if unit in _WITHOUT_PREFIX:
        return f"{_digits(value * _WITHOUT_PREFIX[unit], digits)} {symbol}"
    rounded = float(f"{value:.{digits}g}")
    plain = (
        rounded == 0.0
        or (unit in ("V", "A") and 0.1 <= abs(rounded) < 1000)
        or (unit == "s" and abs(rounded) >= 1)
    )
    if plain:
        return f"{_digits(value, digits)} {symbol}"
    factor, prefix = prefix_of(abs(rounded), most=_LARGE.get(unit, 3))
    return f"{_digits(value / factor, digits)} {prefix}{symbol}"


def prefix_of(magnitude: float, *, most: int = 9, least: int = -12) -> tuple[float, str]:
    """Factor and letter of the largest prefix that is not above a magnitude; of the least one where all are.

    most, least: powers of ten of the prefixes to choose from.
    """
    known = [(10.0**power, prefix) for power, prefix in _PREFIXES if least <= power <= most]
    return next((each for each in known if magnitude >= each[0] * (1 - 1e-12)), known[-1])


def _digits(value: float, digits: int) -> str:
    """Significant digits, without an exponent where a person would not write one."""
    text = f"{value:.{digits}g}"
    if "e" in text and 1e-4 <= abs(value) < 1e7:
        text = f"{float(text):.0f}" if abs(value) >= 1 else text
    return text
