"""The procedure document: hook-up, limits, steps, what is recorded, and what is required."""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, ValidationInfo, field_validator, model_validator
from pydantic_core import PydanticCustomError

from railwright.documents.model import Model, Text, exactly_one
from railwright.quantities import (
    Amperes,
    AutoAmperes,
    AutoSeconds,
    AutoVolts,
    Interval,
    Seconds,
    Volts,
    VoltsPerSecond,
    parse_interval,
    parse_value,
)

MEASURE_UNITS = {
    "peak_current": "A",
    "peak_voltage": "V",
    "mean_current": "A",
    "mean_voltage": "V",
    "mean_power": "W",
    "charge": "C",
    "energy": "J",
    "turn_on_voltage": "V",
    "turn_off_voltage": "V",
    "start_up_time": "s",
    "restarts": "1",
    "high_state_level": "V",
    "low_state_level": "V",
}
"""Every measure that a requirement can name, with the unit of its result."""


class Source(Model):
    """Outputs joined in series or in parallel, as 'supply.output'."""

    series: tuple[Text, ...] | None = Field(None, min_length=2)
    parallel: tuple[Text, ...] | None = Field(None, min_length=2)

    @model_validator(mode="after")
    def _one(self) -> Self:
        exactly_one(self, ("series", "parallel"))
        return self


class HookUp(Model):
    """What feeds one input, through which lead, sensed where."""

    source: Text | Source = Field(alias="from", description="'supply.output', or {series: [...]}, {parallel: [...]}")
    lead: Text
    sense: Literal["at load", "at terminals"]

    @property
    def outputs(self) -> tuple[str, ...]:
        if isinstance(self.source, str):
            return (self.source,)
        return self.source.series or self.source.parallel or ()

    @property
    def arrangement(self) -> Literal["alone", "series", "parallel"]:
        if isinstance(self.source, str):
            return "alone"
        return "series" if self.source.series else "parallel"


class Limits(Model):
    """What stops a fault on one input. `auto`: worked out, with its reason."""

    current_limit: AutoAmperes
    at_limit: Literal["regulate", "trip"] = Field(description="what an output does at its limit (IVI-4.4)")
    trip_delay: AutoSeconds | None = Field(None, description="how long the limit is exceeded before it trips")
    ovp: AutoVolts
    trips_when: tuple[Text, ...] = Field((), description="linked trip: goes off when one of these inputs does")

    @model_validator(mode="after")
    def _delay_with_trip(self) -> Self:
        if self.at_limit == "trip" and self.trip_delay is None:
            raise PydanticCustomError("trip_delay", "expected a 'trip_delay' beside 'at_limit: trip', got none")
        if self.at_limit == "regulate" and self.trip_delay is not None:
            raise PydanticCustomError("trip_delay", "expected no 'trip_delay' beside 'at_limit: regulate'")
        return self


class PowerUp(Model):
    """Outputs on, in order, each rising to its voltage."""

    order: tuple[Text, ...] = Field(min_length=1)
    gap: Seconds = Field(0.0, description="from one input's switching on to the next one's")
    rise: VoltsPerSecond | None = Field(None, description="left out: as fast as the output does it")
    voltages: dict[str, Volts] = Field({}, description="where an input does not go to its nominal voltage")
    settle: Seconds = Field(0.0, description="time given to the inputs to come up; part of the step")


class PowerDown(Model):
    """Outputs off, in order."""

    order: tuple[Text, ...] = Field(min_length=1)
    gap: Seconds = 0.0


class Sweep(Model):
    """An input's voltage from one value to another, held at equally spaced points."""

    input: Text
    start: Volts = Field(alias="from")
    stop: Volts = Field(alias="to")
    points: int = Field(ge=2, le=100_000)
    dwell: Seconds


class Segment(Model):
    """One piece of a shape: `step_to` a voltage, `line_to` a voltage `over` a time, or `hold`."""

    step_to: Volts | None = None
    line_to: Volts | None = None
    over: Seconds | None = None
    hold: Seconds | None = None

    @model_validator(mode="after")
    def _one(self) -> Self:
        kind = exactly_one(self, ("step_to", "line_to", "hold"))
        if (kind == "line_to") != (self.over is not None):
            raise PydanticCustomError("over", "expected 'over' with 'line_to', and only there")
        return self


class ShapeStep(Model):
    """A waveform on one input, played `repeat` times with a pause between."""

    input: Text
    segments: tuple[Segment, ...] = Field(min_length=1)
    repeat: int = Field(1, ge=1, le=100_000)
    pause_between: Seconds = 0.0


class Step(Model):
    """One step of the procedure."""

    name: Text | None = Field(None, description="needed where a requirement refers to the step")
    power_up: PowerUp | None = None
    hold: Seconds | None = None
    sweep: Sweep | None = None
    shape: ShapeStep | None = None
    power_down: PowerDown | None = None

    @model_validator(mode="after")
    def _one(self) -> Self:
        exactly_one(self, STEP_KINDS)
        return self

    @property
    def kind(self) -> str:
        return next(kind for kind in STEP_KINDS if getattr(self, kind) is not None)


STEP_KINDS = ("power_up", "hold", "sweep", "shape", "power_down")


class StopCondition(Model):
    """What ends a run early, outputs off."""

    input: Text
    current_above: Amperes | None = None
    current_below: Amperes | None = None
    voltage_above: Volts | None = None
    voltage_below: Volts | None = None
    duration: Seconds = Field(0.0, alias="for")

    @model_validator(mode="after")
    def _one(self) -> Self:
        exactly_one(self, ("current_above", "current_below", "voltage_above", "voltage_below"))
        return self


class Recording(Model):
    """What the run writes down."""

    every: Seconds


def _guard_band(text: object) -> object:
    if isinstance(text, str) and (match := re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*[×x*]\s*U\s*", text)):
        return float(match[1])
    raise ValueError(f"expected a guard band such as '1 × U', got {text!r}")


class Decision(Model):
    """How a measured value with its uncertainty becomes an outcome (JCGM 106)."""

    rule: Literal["guarded", "simple"] = "guarded"
    guard_band: Annotated[float, BeforeValidator(_guard_band)] = Field(
        1.0, validate_default=False, description="in units of the expanded uncertainty U (95 %)"
    )


class Requirement(Model):
    """What must come out. Limits are in the measure's own unit."""

    name: Text
    measure: Literal[tuple(MEASURE_UNITS)]  # type: ignore[valid-type]
    of: Text = Field(description="the input")
    during: Text = Field(description="the step's name")
    at: Literal["connector", "terminals"] = Field("connector", description="where a voltage is meant")
    each_point: Literal["worst"] | None = Field(None, description="of a sweep: the worst of its points decides")
    at_most: float | None = None
    at_least: float | None = None
    between: Interval | None = None

    @field_validator("at_most", "at_least", mode="before")
    @classmethod
    def _in_unit(cls, given: Any, info: ValidationInfo) -> Any:
        measure = info.data.get("measure")
        if given is None or measure is None:
            return None
        unit = MEASURE_UNITS[measure]
        if unit == "1" and isinstance(given, int):
            return float(given)
        return parse_value(given, unit)

    @field_validator("between", mode="before")
    @classmethod
    def _range_in_unit(cls, given: Any, info: ValidationInfo) -> Any:
        measure = info.data.get("measure")
        if given is None or measure is None:
            return None
        return parse_interval(given, MEASURE_UNITS[measure])

    @model_validator(mode="after")
    def _one(self) -> Self:
        exactly_one(self, ("at_most", "at_least", "between"))
        return self

    @property
    def unit(self) -> str:
        return MEASURE_UNITS[self.measure]

    @property
    def limits(self) -> tuple[float | None, float | None]:
        """Lower and upper limit of the tolerance interval; None: open."""
        if self.between is not None:
            return self.between.low, self.between.high
        return self.at_least, self.at_most


class Override(Model):
    """A stop finding that is accepted, with the reason that the report shows."""

    finding: Text = Field(description="the finding's rule id")
    about: Text | None = Field(None, description="the input, output or instrument it is about; left out: all")
    because: Text


class Procedure(Model):
    """What is to be done, and what is required."""

    procedure: Text
    device: Text = Field(description="path of the device document, relative to this one")
    bench: Text = Field(description="path of the bench document, relative to this one")
    hook_up: dict[str, HookUp] = Field(min_length=1)
    limits: dict[str, Limits] = Field(min_length=1)
    steps: tuple[Step, ...] = Field(min_length=1)
    stop_when: tuple[StopCondition, ...] = ()
    record: Recording
    decision: Decision = Decision()
    requires: tuple[Requirement, ...] = ()
    overrides: tuple[Override, ...] = ()
