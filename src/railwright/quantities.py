"""Quantities as people write them ("12 V", "9 V .. 16 V", "1000 uF ± 20 %"), as SI numbers inside.

Three things can stand in a document: a plain value, an interval (a range that is meant as a range), and an
uncertain value (a parameter with its bounds). Each is checked for its dimension through pint. Models name
the type they want with an annotated alias such as `Volts`, `VoltRange` or `UncertainVolts`.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic_core import core_schema

if TYPE_CHECKING:
    import pint
    from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
    from pydantic.json_schema import JsonSchemaValue

Shape = Literal["value", "interval", "uncertain"]

_NUMBER = r"[+\-−]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+\-]?\d+)?"
_QUANTITY = re.compile(rf"\s*({_NUMBER})\s*(.*?)\s*\Z")

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
    "C": "a charge",
    "J": "an energy",
    "degC": "a temperature",
    "1": "a ratio",
}
_EXAMPLES = {
    "V": "12 V",
    "A": "250 mA",
    "W": "3.6 W",
    "s": "40 ms",
    "ohm": "60 mohm",
    "F": "1000 uF",
    "H": "2 uH",
    "H/m": "0.6 uH/m",
    "m": "1.5 m",
    "m**2": "0.5 mm2",
    "V/s": "1 V/ms",
    "C": "12 mC",
    "J": "80 mJ",
    "degC": "23 °C",
    "1": "85 %",
}


@dataclass(frozen=True, slots=True)
class Interval:
    """A range from `low` to `high`, in SI units; `text` is what the document says."""

    low: float
    high: float
    text: str = ""

    def __contains__(self, value: float) -> bool:
        return self.low <= value <= self.high


@dataclass(frozen=True, slots=True)
class Uncertain:
    """A parameter with its bounds, in SI units; a plain value has low == nominal == high."""

    nominal: float
    low: float
    high: float
    text: str = ""

    @property
    def certain(self) -> bool:
        return self.low == self.high


@cache
def _registry() -> pint.UnitRegistry[float]:
    import pint

    return pint.UnitRegistry(cache_folder=":auto:")


@cache
def _factor(unit_text: str, si_unit: str) -> float:
    """Factor from the written unit to the SI unit; ValueError where the dimension differs."""
    import pint

    registry = _registry()
    text = unit_text.replace("%", "percent").replace("Ω", "ohm").replace("²", "2").replace("mm2", "mm**2")
    try:
        written = registry.parse_units(text)
    except (pint.errors.PintError, ValueError, TypeError, AttributeError, AssertionError):
        raise ValueError(f"unknown unit '{unit_text}'") from None
    target = registry.parse_units("dimensionless" if si_unit == "1" else si_unit)
    if written.dimensionality != target.dimensionality:
        kind = next(
            (
                name
                for unit, name in DIMENSION_NAMES.items()
                if unit not in ("1", "degC") and registry.parse_units(unit).dimensionality == written.dimensionality
            ),
            "something else",
        )
        raise ValueError(f"'{unit_text}' is {kind}")
    return float(registry.Quantity(1.0, written).to(target).magnitude)


def parse_value(text: object, unit: str) -> float:
    """One quantity in SI units. Raises ValueError saying what was expected and what came."""
    expected = f"expected {DIMENSION_NAMES[unit]} such as '{_EXAMPLES[unit]}'"
    if not isinstance(text, str):
        raise ValueError(f"{expected}, got {text!r} without a unit")
    match = _QUANTITY.match(text)
    if match is None:
        raise ValueError(f"{expected}, got '{text}'")
    number = float(match[1].replace("−", "-"))
    unit_text = match[2]
    if not math.isfinite(number):
        raise ValueError(f"{expected}, got '{text}', which is not finite")
    if unit == "degC":
        if unit_text not in ("°C", "degC", "C"):
            raise ValueError(f"{expected}, got '{text}'")
        return number
    if not unit_text and number != 0.0 and unit != "1":
        raise ValueError(f"{expected}, got '{text}' without a unit")
    if not unit_text:
        return number
    try:
        return number * _factor(unit_text, unit)
    except ValueError as error:
        raise ValueError(f"{expected}, got '{text}': {error}") from None


def parse_interval(text: object, unit: str) -> Interval:
    """A range 'low .. high' in SI units, low below high."""
    if not isinstance(text, str) or ".." not in text:
        example = _EXAMPLES[unit]
        raise ValueError(f"expected a range such as '{example} .. {example}', got {text!r}")
    low_text, high_text = text.split("..", 1)
    low, high = parse_value(low_text.strip(), unit), parse_value(high_text.strip(), unit)
    if low > high:
        raise ValueError(f"expected a range from low to high, got '{text}', which is upside down")
    return Interval(low, high, text)


def parse_uncertain(text: object, unit: str) -> Uncertain:
    """'X', 'X ± Y', 'X ± Y %' or 'low .. high' in SI units."""
    if isinstance(text, str) and ".." in text:
        interval = parse_interval(text, unit)
        return Uncertain((interval.low + interval.high) / 2, interval.low, interval.high, text)
    if isinstance(text, str) and (separator := re.search(r"±|\+/-|\+-", text)):
        nominal = parse_value(text[: separator.start()].strip(), unit)
        spread_text = text[separator.end() :].strip()
        if spread_text.endswith("%") and unit != "1":
            spread = abs(nominal) * parse_value(spread_text, "1")
        else:
            spread = parse_value(spread_text, unit)
        if spread < 0:
            raise ValueError(f"expected a positive tolerance after ±, got '{text}'")
        return Uncertain(nominal, nominal - spread, nominal + spread, text)
    value = parse_value(text, unit)
    return Uncertain(value, value, value, str(text))


@dataclass(frozen=True, slots=True)
class Dimension:
    """Annotation that makes a pydantic field a quantity of this SI unit; `auto` admits the word auto."""

    unit: str
    shape: Shape = "value"
    auto: bool = False
    positive: bool = False

    def parse(self, given: object) -> float | Interval | Uncertain | str:
        if self.auto and given == "auto":
            return "auto"
        if isinstance(given, float | int) and not isinstance(given, bool) and self.shape == "value" and given == 0:
            return 0.0
        if isinstance(given, Interval | Uncertain):
            return given
        parser = {"value": parse_value, "interval": parse_interval, "uncertain": parse_uncertain}[self.shape]
        result: float | Interval | Uncertain = parser(given, self.unit)
        lowest = result if isinstance(result, float) else result.low
        if self.positive and lowest <= 0:
            raise ValueError(f"expected {DIMENSION_NAMES[self.unit]} above zero, got '{given}'")
        return result

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(self.parse)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        example = _EXAMPLES[self.unit]
        examples = {
            "value": [example],
            "interval": [f"{example} .. {example}"],
            "uncertain": [example, f"{example} ± 10 %"],
        }[self.shape]
        description = f"{DIMENSION_NAMES[self.unit]}, {self.shape}" + (", or auto" if self.auto else "")
        return {"type": "string", "description": description, "examples": [*examples, *(["auto"] if self.auto else [])]}


Volts = Annotated[float, Dimension("V")]
Amperes = Annotated[float, Dimension("A")]
Watts = Annotated[float, Dimension("W", positive=True)]
Seconds = Annotated[float, Dimension("s")]
Ohms = Annotated[float, Dimension("ohm")]
Metres = Annotated[float, Dimension("m", positive=True)]
Farads = Annotated[float, Dimension("F", positive=True)]
HenriesPerMetre = Annotated[float, Dimension("H/m", positive=True)]
VoltsPerSecond = Annotated[float, Dimension("V/s", positive=True)]
Ratio = Annotated[float, Dimension("1")]

VoltRange = Annotated[Interval, Dimension("V", "interval")]
AmpereRange = Annotated[Interval, Dimension("A", "interval")]
SecondRange = Annotated[Interval, Dimension("s", "interval")]
VoltPerSecondRange = Annotated[Interval, Dimension("V/s", "interval")]
RatioRange = Annotated[Interval, Dimension("1", "interval")]

UncertainVolts = Annotated[Uncertain, Dimension("V", "uncertain")]
UncertainAmperes = Annotated[Uncertain, Dimension("A", "uncertain")]
UncertainWatts = Annotated[Uncertain, Dimension("W", "uncertain", positive=True)]
UncertainSeconds = Annotated[Uncertain, Dimension("s", "uncertain")]
UncertainOhms = Annotated[Uncertain, Dimension("ohm", "uncertain")]
UncertainFarads = Annotated[Uncertain, Dimension("F", "uncertain", positive=True)]
UncertainMetres = Annotated[Uncertain, Dimension("m", "uncertain", positive=True)]
UncertainCelsius = Annotated[Uncertain, Dimension("degC", "uncertain")]
UncertainRatio = Annotated[Uncertain, Dimension("1", "uncertain", positive=True)]

AutoVolts = Annotated[float | Literal["auto"], Dimension("V", auto=True)]
AutoAmperes = Annotated[float | Literal["auto"], Dimension("A", auto=True)]
AutoSeconds = Annotated[float | Literal["auto"], Dimension("s", auto=True)]

_PREFIXES = ((1e9, "G"), (1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"), (1e-12, "p"))


def show(value: float, unit: str, digits: int = 4) -> str:
    """Print an SI value for people: `show(0.0405, "s")` is '40.5 ms'; temperatures and ratios as they are read."""
    if unit == "degC":
        return f"{value:.{digits}g} °C"
    if unit == "1":
        return f"{value * 100:.{digits}g} %"
    if unit in ("V", "A") and 0.1 <= abs(value) < 1000 or value == 0:
        return f"{value:.{digits}g} {unit}"
    if not math.isfinite(value):
        return f"{value} {unit}"
    for factor, prefix in _PREFIXES:
        if abs(value) >= factor * (1 - 1e-12):
            return f"{value / factor:.{digits}g} {prefix}{'Ω' if unit == 'ohm' else unit}"
    return f"{value:.{digits}g} {unit}"
