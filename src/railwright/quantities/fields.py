"""Quantities as fields of pydantic models: `Volts`, `VoltRange`, `UncertainVolts` and their kin."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic_core import core_schema

from railwright.quantities.parsing import (
    LARGEST,
    SMALLEST,
    blanks,
    example_range,
    parse_interval,
    parse_uncertain,
    parse_value,
    quoted,
)
from railwright.quantities.printing import show
from railwright.quantities.units import DIMENSION_NAMES, EXAMPLES, USUAL
from railwright.quantities.values import Interval, Uncertain

if TYPE_CHECKING:
    from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
    from pydantic.json_schema import JsonSchemaValue

Shape = Literal["value", "interval", "uncertain"]
_PARSERS: dict[Shape, Callable[[object, str], float | Interval | Uncertain]] = {
    "value": parse_value,
    "interval": parse_interval,
    "uncertain": parse_uncertain,
}
_POWERS = {unit: {text: f"e{power}" for text, power in usual.items()} for unit, usual in USUAL.items()}
_POWERS |= {unit: {} for unit in DIMENSION_NAMES if unit not in _POWERS}
LONGEST_TIME = 30 * 86400.0
"""Longest time in a document [s]; whatever is longer has the wrong unit."""
LONGEST_LENGTH = 10_000.0
"""Longest length in a document, of a lead [m]; whatever is longer has the wrong unit."""
COLDEST, WARMEST = -200.0, 300.0
"""Temperatures in a document lie between [°C]; below -234 °C the law of copper's resistance is below zero."""
SHORTEST_TIME = 1e-12
"""Shortest time in a document that is not zero [s]; whatever is shorter has the wrong unit."""
SLOWEST, FASTEST = 1e-6, 1e12
"""Rates of a voltage in a document lie between [V/s]: 12 V in 139 days, and in 12 ps."""
_HIGHEST = {"s": LONGEST_TIME, "m": LONGEST_LENGTH, "V/s": FASTEST}
_LOWEST = {"V/s": SLOWEST}
_AT_MOST = {
    "s": "a time of at most 30 days",
    "m": "a length of at most 10 km",
    "V/s": "a voltage per time of at most 1 V/ps",
}


@dataclass(frozen=True, slots=True)
class Dimension:
    """Annotation that makes a pydantic field a quantity of this SI unit.

    shape: a plain value (float), a range (`Interval`) or a value with bounds (`Uncertain`). auto: admits the
    word auto. unknown: admits the word true, for what is there with an unknown value. positive: every
    possible value lies above zero. nonnegative: none lies below zero. reaching: a range ends above zero.
    shortest: of a time, the shortest that is not zero [s], no less than `SHORTEST_TIME`.
    """

    unit: str
    shape: Shape = "value"
    auto: bool = False
    positive: bool = False
    nonnegative: bool = False
    reaching: bool = False
    unknown: bool = False
    shortest: float = SHORTEST_TIME

    def parse(self, given: object) -> float | Interval | Uncertain | str:
        """The SI value of what a document says; ValueError where it is no such quantity."""
        if self.shape == "value" and (number := self.usual(given)) is not None:
            return number
        if self.auto and given == "auto":
            return "auto"
        if self.unknown and (given is True or given == "true"):
            return "true"
        if isinstance(given, Interval | Uncertain):
            return given
        given = blanks(given)
        zero = isinstance(given, float | int) and not isinstance(given, bool) and given == 0
        text: object = "0" if zero else given
        try:
            result = _PARSERS[self.shape](text, self.unit)
        except ValueError as error:
            if word := self._word:
                raise ValueError(str(error).replace(", got ", f" or {word}, got ", 1)) from None
            raise
        lowest = result if isinstance(result, float) else result.low
        if self.positive and lowest <= 0:
            raise ValueError(f"expected {DIMENSION_NAMES[self.unit]} above zero, got {quoted(given)}")
        if self.nonnegative and lowest < 0:
            remedy = "remove the minus" if self.shape == "value" else "correct its bounds"
            raise ValueError(
                f"expected {DIMENSION_NAMES[self.unit]} of zero or more, got {quoted(given)}; {remedy}"
            )
        highest = result if isinstance(result, float) else result.high
        if self.reaching and highest <= 0:
            got = f"got {quoted(given)}; correct its upper end"
            raise ValueError(
                f"expected a range that ends above zero, such as '{example_range(self.unit)}', {got}"
            )
        if self.unit in _HIGHEST and highest > _HIGHEST[self.unit]:
            raise ValueError(f"expected {_AT_MOST[self.unit]}, got {quoted(given)}; correct its unit")
        least = self.shortest if self.unit == "s" else _LOWEST.get(self.unit, 0.0)
        if any(0.0 < abs(each) < least for each in (lowest, highest)):
            told = f"expected {DIMENSION_NAMES[self.unit]} of at least {show(least, self.unit)}"
            raise ValueError(f"{told}, got {quoted(given)}; correct its unit")
        if self.unit == "degC" and (lowest < COLDEST or highest > WARMEST):
            between = f"{COLDEST:g} °C .. {WARMEST:g} °C"
            raise ValueError(f"expected a temperature within {between}, got {quoted(given)}; correct it")
        return result

    def usual(self, given: object) -> float | None:
        """The SI value of a text as nearly all are: digits, a blank, a usual unit; None: look more closely.

        A document may hold 100,000 of them.
        """
        if type(given) is not str:
            return None
        digits, _, unit = given.partition(" ")
        power = _POWERS[self.unit].get(unit)
        if power is None or not (digits.replace(".", "", 1).isdigit() and digits.isascii()):
            return None
        number = float(digits + power)
        if number > _HIGHEST.get(self.unit, LARGEST):
            return None
        # Zero is looked at more closely: it may be a number too small to tell from it.
        least = self.shortest if self.unit == "s" else _LOWEST.get(self.unit, SMALLEST)
        return number if number >= least else None

    @property
    def _word(self) -> str:
        """The word that may stand instead of a quantity; empty: none."""
        return "auto" if self.auto else "true" if self.unknown else ""

    @property
    def kind(self) -> str:
        """What stands there, for people: 'a voltage', 'a range of voltages', …"""
        name = DIMENSION_NAMES[self.unit]
        text = {"value": name, "interval": f"{name}, as a range", "uncertain": f"{name}, may have bounds"}[
            self.shape
        ]
        return text + (f", or {self._word}" if self._word else "")

    @property
    def examples(self) -> list[str]:
        """Texts that a document may hold there."""
        example = EXAMPLES[self.unit]
        wide = example_range(self.unit)
        texts = {"value": [example], "interval": [wide], "uncertain": [example, f"{example} ± 10 %", wide]}[
            self.shape
        ]
        own = {"degC": "23 °C ± 3 °C", "1": "0.85 ± 0.03"}.get(self.unit)
        if own is not None and self.shape == "uncertain":
            texts[1] = own
        return [*texts, *([self._word] if self._word else [])]

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(self.parse)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        bare_zero = [{"const": 0}] if self.shape != "interval" and not self.positive else []
        bare_ratio = [{"type": "number"}] if self.unit == "1" and self.shape != "interval" else []
        bare_true: list[JsonSchemaValue] = [{"const": True}] if self.unknown else []
        return {
            "anyOf": [{"type": "string"}, *(bare_ratio or bare_zero), *bare_true],
            "description": self.kind,
            "examples": self.examples,
        }


Volts = Annotated[float, Dimension("V")]
NonNegativeVolts = Annotated[float, Dimension("V", nonnegative=True)]
PositiveVolts = Annotated[float, Dimension("V", positive=True)]
Amperes = Annotated[float, Dimension("A")]
NonNegativeAmperes = Annotated[float, Dimension("A", nonnegative=True)]
PositiveAmperes = Annotated[float, Dimension("A", positive=True)]
Coulombs = Annotated[float, Dimension("C", positive=True)]
Joules = Annotated[float, Dimension("J", positive=True)]
Watts = Annotated[float, Dimension("W", positive=True)]
Seconds = Annotated[float, Dimension("s", nonnegative=True)]
PositiveSeconds = Annotated[float, Dimension("s", positive=True)]
ResponseSeconds = Annotated[float, Dimension("s", positive=True, shortest=1e-9)]
ReadingSeconds = Annotated[float, Dimension("s", positive=True, shortest=1e-6)]
Ohms = Annotated[float, Dimension("ohm", nonnegative=True)]
PositiveOhms = Annotated[float, Dimension("ohm", positive=True)]
OhmsOrTrue = Annotated[float | Literal["true"], Dimension("ohm", positive=True, unknown=True)]
Metres = Annotated[float, Dimension("m", positive=True)]
Farads = Annotated[float, Dimension("F", positive=True)]
HenriesPerMetre = Annotated[float, Dimension("H/m", positive=True)]
VoltsPerSecond = Annotated[float, Dimension("V/s", positive=True)]
Hertz = Annotated[float, Dimension("Hz", positive=True)]
Ratio = Annotated[float, Dimension("1", nonnegative=True)]

VoltRange = Annotated[Interval, Dimension("V", "interval")]
AmpereRange = Annotated[Interval, Dimension("A", "interval")]
VoltReach = Annotated[Interval, Dimension("V", "interval", reaching=True)]
AmpereReach = Annotated[Interval, Dimension("A", "interval", nonnegative=True, reaching=True)]
WattReach = Annotated[Interval, Dimension("W", "interval", nonnegative=True, reaching=True)]
SecondReach = Annotated[Interval, Dimension("s", "interval", nonnegative=True, reaching=True)]
WattRange = Annotated[Interval, Dimension("W", "interval", nonnegative=True)]
SecondRange = Annotated[Interval, Dimension("s", "interval", nonnegative=True)]
VoltPerSecondRange = Annotated[Interval, Dimension("V/s", "interval", positive=True)]
RatioRange = Annotated[Interval, Dimension("1", "interval", nonnegative=True)]

UncertainVolts = Annotated[Uncertain, Dimension("V", "uncertain")]
UncertainPositiveVolts = Annotated[Uncertain, Dimension("V", "uncertain", positive=True)]
UncertainAmperes = Annotated[Uncertain, Dimension("A", "uncertain")]
UncertainWatts = Annotated[Uncertain, Dimension("W", "uncertain", positive=True)]
UncertainInstant = Annotated[Uncertain, Dimension("s", "uncertain")]
UncertainSeconds = Annotated[Uncertain, Dimension("s", "uncertain", nonnegative=True)]
UncertainOhms = Annotated[Uncertain, Dimension("ohm", "uncertain", nonnegative=True)]
UncertainPositiveOhms = Annotated[Uncertain, Dimension("ohm", "uncertain", positive=True)]
UncertainFarads = Annotated[Uncertain, Dimension("F", "uncertain", positive=True)]
UncertainMetres = Annotated[Uncertain, Dimension("m", "uncertain", positive=True)]
UncertainCelsius = Annotated[Uncertain, Dimension("degC", "uncertain")]
UncertainRatio = Annotated[Uncertain, Dimension("1", "uncertain", positive=True)]

AutoVolts = Annotated[float | Literal["auto"], Dimension("V", auto=True, positive=True)]
AutoAmperes = Annotated[float | Literal["auto"], Dimension("A", auto=True, positive=True)]
AutoWatts = Annotated[float | Literal["auto"], Dimension("W", auto=True, positive=True)]
AutoVoltsPerSecond = Annotated[float | Literal["auto"], Dimension("V/s", auto=True, positive=True)]
AutoSeconds = Annotated[float | Literal["auto"], Dimension("s", auto=True, nonnegative=True)]
