"""Units as people write them: what each is in SI, checked through pint, and what to say of a wrong one.

The units that documents usually hold stand in `USUAL`, so that checking documents does not wait for pint to
load; a test compares every row with pint. Any other unit is looked up in pint. A unit must look like one
(words joined by '/' or '*', small powers) before pint sees it.
"""

from __future__ import annotations

import difflib
import re
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pint

DIMENSION_NAMES = {
    "V": "a voltage",
    "A": "a current",
    "W": "a power",
    "s": "a time",
    "ohm": "a resistance",
    "F": "a capacitance",
    "H": "an inductance",
    "H/m": "an inductance per length",
    "m": "a length",
    "m**2": "an area",
    "V/s": "a voltage per time",
    "Hz": "a frequency",
    "C": "a charge",
    "J": "an energy",
    "A**2*s": "an I²t",
    "kg*m**2": "a moment of inertia",
    "N*m": "a torque",
    "N*m/A": "a torque per current",
    "N*m*s": "a torque per speed",
    "degC": "a temperature",
    "1": "a ratio",
}
"""SI unit -> the kind of quantity, with its article."""

_EXAMPLES = {
    "V": ("12", "V"),
    "A": ("250", "mA"),
    "W": ("3.6", "W"),
    "s": ("40", "ms"),
    "ohm": ("60", "mohm"),
    "F": ("1000", "uF"),
    "H": ("2", "uH"),
    "H/m": ("0.6", "uH/m"),
    "m": ("1.5", "m"),
    "m**2": ("0.5", "mm2"),
    "V/s": ("1", "V/ms"),
    "Hz": ("50", "Hz"),
    "C": ("12", "mC"),
    "J": ("80", "mJ"),
    "A**2*s": ("2", "A²s"),
    "kg*m**2": ("20", "g*cm2"),
    "N*m": ("5", "mN*m"),
    "N*m/A": ("25", "mN*m/A"),
    "N*m*s": ("1", "uN*m*s"),
    "degC": ("23", "°C"),
    "1": ("85", "%"),
}

EXAMPLES = {unit: f"{number} {written}" for unit, (number, written) in _EXAMPLES.items()}
"""SI unit -> a quantity that a message can show."""

EXAMPLE_NUMBERS = {unit: float(number) for unit, (number, _) in _EXAMPLES.items()}
"""SI unit -> the number of that quantity, in its own unit."""

EXAMPLE_UNITS = {unit: written for unit, (_, written) in _EXAMPLES.items()}
"""SI unit -> the unit that the example is written in."""

RANGES = {"1": "20 % .. 80 %", "degC": "10 °C .. 30 °C"}
"""SI unit -> a range that a message can show, where doubling the example makes none."""

CELSIUS = ("°C", "degC", "C")

_THOUSANDS = {"p": -12, "n": -9, "u": -6, "µ": -6, "m": -3, "": 0, "k": 3, "M": 6}


def _scaled(symbol: str, prefixes: str = "n u µ m k", suffix: str = "") -> dict[str, int]:
    names = ["", *prefixes.split()]
    return {f"{prefix}{symbol}{suffix}": _THOUSANDS[prefix] for prefix in names}


USUAL: dict[str, dict[str, int]] = {
    "V": _scaled("V"),
    "A": _scaled("A", "p n u µ m k"),
    "W": _scaled("W"),
    "s": _scaled("s", "n u µ m"),
    "ohm": {**_scaled("ohm", "u µ m k M"), **_scaled("Ω", "u µ m k M")},
    "F": _scaled("F", "p n u µ m"),
    "H": _scaled("H", "n u µ m"),
    "H/m": _scaled("H", "n u µ m", "/m"),
    "m": {"m": 0, "mm": -3, "cm": -2, "um": -6, "km": 3},
    "m**2": {"mm2": -6, "mm²": -6, "mm^2": -6, "cm2": -4, "m2": 0, "m²": 0},
    "V/s": {
        **_scaled("V", "m k", "/s"),
        **{
            f"{prefix}V/{time}": _THOUSANDS[prefix] - power
            for prefix in ("m", "", "k")
            for time, power in (("ms", -3), ("us", -6), ("µs", -6), ("ns", -9))
        },
    },
    "Hz": _scaled("Hz", "m k M"),
    "C": _scaled("C", "p n u µ m"),
    "J": _scaled("J"),
    "A**2*s": {f"A{two}{times}s": 0 for two in ("²", "2", "^2") for times in ("", "*", "·")},
    "kg*m**2": {"kg*m2": 0, "kg*m²": 0, "g*cm2": -7, "g*cm²": -7},
    "N*m": _scaled("N*m"),
    "N*m/A": _scaled("N*m", "n u µ m", "/A"),
    "N*m*s": _scaled("N*m*s"),
    "1": {"%": -2, "ppm": -6},
}
"""SI unit -> unit as written -> power of ten between the two."""

# Texts of expressions, not compiled ones: hardly a document needs them, and each takes a while.
_HUGE = r"(?:M(?=[sAWFHCJm]|V(?!/s$))|[GT](?=[sAVWFHCJm])|[PEZYRQ](?=[sAVWFHCJmΩ]|ohm))"
"""A prefix that makes a unit larger than anything on a bench, at a unit's symbol; 'MV/s' is '1 V/us'."""
_SYMBOL = r"[MGTPEZYRQ](?:s|A|V|W|F|H|C|J|m|Ω|ohm)(?:[²³]|(?:\*\*|\^)?-?[0-9])?"
_WORD = r"[A-Za-zµμΩ°%]{1,20}(?:(?:\*\*|\^)?-?[0-9]|[²³])?"
_UNIT = rf"{_WORD}(?:\s?[*/·]\s?{_WORD}){{0,3}}"


@cache
def _registry() -> pint.UnitRegistry[float]:
    import hashlib
    from pathlib import Path

    import pint

    from railwright.compiled_cache import cache_folder, can_keep

    # What pint keeps of its definitions names the files that they came from: one folder for each place at
    # which it is installed, for whoever removes an environment would else find its paths in the next.
    place = hashlib.sha256(str(Path(pint.__file__).resolve()).encode()).hexdigest()[:16]
    folder = cache_folder() / "units" / place
    return pint.UnitRegistry(cache_folder=folder if can_keep(folder) else None)


@cache
def power_of_ten(unit_text: str, si_unit: str) -> int | None:
    """Exponent between the written unit and the SI unit, where it is one of the usual units; else None."""
    return USUAL.get(si_unit, {}).get(unit_text.replace("μ", "µ"))


@cache
def factor(unit_text: str, si_unit: str) -> float:
    """Factor from the written unit to the SI unit, from pint; ValueError says what is wrong with the unit."""
    if not re.fullmatch(_UNIT, unit_text):
        raise ValueError("that is no unit")
    if prefix := _too_large(unit_text):
        hint = _nearest(unit_text, si_unit) or "; write it without"
        raise ValueError(f"'{unit_text}' has the prefix '{prefix}', far too large here{hint}")
    import pint

    registry = _registry()
    text = unit_text.replace("%", "percent").replace("·", "*").replace("²", "**2").replace("³", "**3")
    text = re.sub(r"(?<=[A-Za-zµμΩ])(-?[0-9])", r"**\1", text)
    try:
        written = registry.parse_units(text)
    except (pint.errors.PintError, ValueError, TypeError, AttributeError, AssertionError, KeyError):
        raise ValueError(f"'{unit_text}' is no unit{_nearest(unit_text, si_unit)}") from None
    target = registry.parse_units("dimensionless" if si_unit == "1" else si_unit)
    if written.dimensionality != target.dimensionality:
        raise ValueError(f"'{unit_text}' is {_kind(written)}{_nearest(unit_text, si_unit)}")
    zero, one = (float(registry.Quantity(number, written).to(target).magnitude) for number in (0.0, 1.0))
    if zero != 0.0:
        raise ValueError(f"'{unit_text}' does not start at zero")
    return one


def _too_large(unit_text: str) -> str:
    """The capital prefix that was hardly meant, as in 'Ms' for 'ms'; nothing where there is none."""
    for word in re.finditer(r"[A-Za-zΩ]+\S*?(?=\s*[*/·]|$)", unit_text):
        if re.fullmatch(_SYMBOL, word[0]) and re.match(_HUGE, unit_text[word.start() :]):
            return word[0][0]
    return ""


def _kind(unit: pint.Unit) -> str:
    for si_unit, name in DIMENSION_NAMES.items():
        if (
            si_unit != "degC"
            and _registry().parse_units("dimensionless" if si_unit == "1" else si_unit).dimensionality
            == unit.dimensionality
        ):
            return name
    return "of another dimension" if "kelvin" not in str(unit) else "a temperature"


def _nearest(unit_text: str, si_unit: str) -> str:
    """The usual unit that was probably meant: the same letters in another case, or the nearest spelling."""
    usual = list(USUAL.get(si_unit, {}))
    same = [unit for unit in usual if unit.casefold() == unit_text.casefold() and unit != unit_text]
    near = same or [
        unit for unit in difflib.get_close_matches(unit_text, usual, 1, 0.7) if len(unit_text) > 1
    ]
    return f"; did you mean '{near[0]}'?" if near else ""
