"""The bench document: the supplies, leads and recorders that are there, with data-sheet figures."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any, Literal, Self

from pydantic import Field, GetCoreSchemaHandler, GetJsonSchemaHandler, model_validator
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import PydanticCustomError, core_schema

from railwright.documents.model import Model, Text
from railwright.quantities import (
    AmpereRange,
    Amperes,
    Farads,
    HenriesPerMetre,
    Metres,
    Ohms,
    Ratio,
    RatioRange,
    SecondRange,
    Seconds,
    UncertainCelsius,
    UncertainOhms,
    VoltPerSecondRange,
    VoltRange,
    Volts,
    Watts,
    parse_value,
)


class VoltageAccuracy(Model):
    """Accuracy of a set or read voltage: bounds of ±(of_value · value + offset)."""

    of_value: Ratio = 0.0
    offset: Volts = 0.0
    resolution: Volts | None = Field(None, description="smallest step; left out: unknown")
    noise: Volts | None = Field(None, description="r.m.s. noise of one reading; left out: unknown")


class CurrentAccuracy(Model):
    """Accuracy of a set or read current: bounds of ±(of_value · value + offset)."""

    of_value: Ratio = 0.0
    offset: Amperes = 0.0
    resolution: Amperes | None = Field(None, description="smallest step; left out: unknown")
    noise: Amperes | None = Field(None, description="r.m.s. noise of one reading; left out: unknown")


class Programming(Model):
    """How exactly set points are kept."""

    voltage: VoltageAccuracy
    current: CurrentAccuracy


class Reading(Model):
    """How exactly, and how often, the output measures itself."""

    voltage: VoltageAccuracy
    current: CurrentAccuracy
    update: Seconds | None = Field(None, description="time between two new readings")
    aperture: Seconds | None = Field(None, description="time over which one reading is averaged")
    latency: Seconds | None = Field(None, description="age of a reading when it is handed over")


class Fall(Model):
    """Time for the voltage to fall from 90 % to 10 % of full scale."""

    loaded: Seconds | None = None
    unloaded: Seconds | None = None


class Recovery(Model):
    """Load-transient recovery: after a load step (in parts of full current) back within the band in this time."""

    time: Seconds
    band: Volts
    step: RatioRange


class OverVoltage(Model):
    """Over-voltage protection of an output."""

    level: VoltRange
    accuracy: Volts | None = None
    response: Seconds | None = None
    at: Literal["terminals", "sense"] = "terminals"


class Sense(Model):
    """Remote sense of an output."""

    compensates: Volts | None = Field(None, description="largest lead drop that sensing can make up for, both leads")


class Points(Model):
    """What the output's own point list can do."""

    at_most: int = Field(ge=1)
    dwell: SecondRange
    between: tuple[Literal["step", "line"], ...] = ("step",)


class Output(Model):
    """One independent output of a supply. What is left out is unknown, never zero."""

    voltage: VoltRange
    current: AmpereRange
    power: Watts | None = None
    negative: Literal["floating", "earth"] = Field("floating", description="where the negative terminal is tied")
    programming: Programming | None = None
    reading: Reading | None = None
    rise: Seconds | None = Field(None, description="10 to 90 %, full scale, full load")
    fall: Fall = Fall()
    slew: VoltPerSecondRange | None = Field(None, description="programmable rise and fall")
    recovery: Recovery | None = None
    limit_response: Seconds | None = Field(None, description="time in which the current limit takes charge")
    output_capacitance: Farads | None = None
    bleeder: Ohms | None = Field(None, description="resistance across the terminals")
    sink: Amperes | None = Field(None, description="current that the output can take in")
    ovp: OverVoltage | None = None
    trip_delay: SecondRange | None = None
    sense: Sense | None = None
    points: Points | None = None
    may_join: tuple[Literal["series", "parallel"], ...] = ()


class Calibration(Model):
    """When an instrument was calibrated, and until when that holds."""

    on: dt.date
    due: dt.date
    certificate: Text

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.due < self.on:
            raise PydanticCustomError("due", f"expected 'due' after 'on', got {self.due} before {self.on}")
        return self


class Supply(Model):
    """One instrument with its outputs."""

    address: Text = Field(description="VISA resource name")
    dialect: Text = Field(description="how it is spoken to: channel-list or selected-output")
    model: Text | None = Field(None, description="model as *IDN? gives it")
    serial: Text | None = Field(None, description="serial number as *IDN? gives it")
    calibrated: Calibration | None = None
    isolation: Volts | None = Field(None, description="largest voltage from any terminal to earth")
    common_negative: tuple[str, ...] = Field((), description="outputs whose negative terminals are joined inside")
    outputs: dict[str, Output] = Field(min_length=1)

    @model_validator(mode="after")
    def _outputs_exist(self) -> Self:
        for name in self.common_negative:
            if name not in self.outputs:
                raise PydanticCustomError(
                    "no_such_output", f"expected outputs of this supply in 'common_negative', got '{name}'"
                )
        return self


class Conductor:
    """A conductor as it is bought: `AWG 18`, or `0.5 mm2 class 5` (IEC 60228). Immutable."""

    __slots__ = ("area", "gauge", "iec_class", "text")

    def __init__(self, text: str, gauge: int | None, area: float | None, iec_class: int | None) -> None:
        self.text, self.gauge, self.area, self.iec_class = text, gauge, area, iec_class

    def __repr__(self) -> str:
        return f"Conductor({self.text!r})"

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Conductor) and self.text == other.text

    def __hash__(self) -> int:
        return hash(self.text)

    @classmethod
    def parse(cls, text: object) -> Conductor:
        """`gauge` is set for AWG, `area` [m²] and `iec_class` for metric conductors."""
        if isinstance(text, Conductor):
            return text
        expected = "expected a conductor such as 'AWG 18' or '0.5 mm2 class 5'"
        if not isinstance(text, str):
            raise ValueError(f"{expected}, got {text!r}")
        if match := re.fullmatch(r"\s*AWG\s*(\d{1,2})\s*", text, re.IGNORECASE):
            gauge = int(match[1])
            if gauge > 40:
                raise ValueError(f"{expected}, from AWG 0 to AWG 40, got '{text}'")
            return cls(text.strip(), gauge, None, None)
        if match := re.fullmatch(r"\s*(.+?)\s+class\s+([1256])\s*", text):
            area = parse_value(match[1], "m**2")
            if area <= 0:
                raise ValueError(f"{expected}, with a section above zero, got '{text}'")
            return cls(text.strip(), None, area, int(match[2]))
        raise ValueError(f"{expected}, got '{text}'")

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(cls.parse)

    @classmethod
    def __get_pydantic_json_schema__(
        cls, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        return {"type": "string", "description": "a conductor", "examples": ["AWG 18", "0.5 mm2 class 5"]}


class Lead(Model):
    """The pair of conductors from an output to an input, with its contacts."""

    conductor: Conductor
    one_way_length: Metres
    contact_resistance_loop: UncertainOhms | None = Field(None, description="all contacts of the loop together")
    inductance: HenriesPerMetre | None = Field(None, description="of the pair, per metre of its length")
    permitted_current: Amperes | None = Field(None, description="continuous current that the maker permits")


class Recorder(Model):
    """An external recorder whose recordings an evaluation may use."""

    serial: Text | None = None
    calibrated: Calibration | None = None
    interval: Seconds = Field(description="time between two samples")
    voltage: VoltageAccuracy | None = None
    current: CurrentAccuracy | None = None


class Laboratory(Model):
    """Who stands behind a report."""

    name: Text
    address: Text


class Bench(Model):
    """What is on the bench."""

    bench: Text
    location: Literal["dry", "wet"] = Field(description="decides which touch-voltage limit applies")
    ambient: UncertainCelsius
    laboratory: Laboratory | None = None
    supplies: dict[str, Supply] = Field(min_length=1)
    leads: dict[str, Lead] = Field(min_length=1)
    recorders: dict[str, Recorder] = {}

    def output(self, name: str) -> Output:
        """The output called 'supply.output'; KeyError where there is none."""
        supply, _, output = name.partition(".")
        return self.supplies[supply].outputs[output]

    def supply_of(self, name: str) -> Supply:
        """The supply of the output called 'supply.output'."""
        return self.supplies[name.partition(".")[0]]
