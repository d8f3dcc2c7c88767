"""How a run ends: what each input does then, and what switches off when nobody is there."""

from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, ConfigDict, Field, WithJsonSchema, model_validator

from railwright.documents.model import Date, Model, Text, fault
from railwright.documents.sources import hint
from railwright.quantities import PositiveSeconds, SecondRange, quoted, show

OFF = "off"
"""The word for an input that simply goes off at the end."""
LONGEST_RAMP = 600.0
"""Longest ramp to 0 V at the end of a run [s]: an ending does not keep an output on for longer."""


def _yes_or_no(given: object) -> bool:
    if isinstance(given, bool):
        return given
    if given in ("yes", "no"):
        return given == "yes"
    raise ValueError(f"expected 'yes' or 'no', got {quoted(given)}")


YesNo = Annotated[bool, BeforeValidator(_yes_or_no), WithJsonSchema({"enum": ["yes", "no", True, False]})]
"""`yes` or `no`."""


def _off_or_keys(schema: dict[str, Any]) -> None:
    """In the schema for editors: 'off', or one of the keys."""
    keys = {key: schema.pop(key) for key in ("type", "properties", "additionalProperties")}
    schema["anyOf"] = [{"const": OFF}, {**keys, "minProperties": 1, "maxProperties": 1}]


class AtEnd(Model):
    """What an input does at the end of a run, however that comes: `off`, or one of these."""

    model_config = ConfigDict(json_schema_extra=_off_or_keys)

    ramp_down: PositiveSeconds | None = Field(None, description="to 0 V in this time, then off")
    stays_on: Text | None = Field(None, description="it stays on, for the reason that is written here")

    @model_validator(mode="before")
    @classmethod
    def _whole(cls, given: Any) -> Any:
        if given == OFF:
            return {}
        if isinstance(given, str):
            choice = "'off', {ramp_down: 200 ms} or {stays_on: REASON}"
            raise ValueError(f"expected {choice}, got {quoted(given)}{hint(given, [OFF])}")
        return given

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if self.ramp_down is not None and self.stays_on is not None:
            raise fault("expected one of 'ramp_down' and 'stays_on', got both; remove one", "stays_on")
        if self.ramp_down is not None and self.ramp_down > LONGEST_RAMP:
            longest = show(LONGEST_RAMP, "s")
            got = show(self.ramp_down, "s")
            raise fault(f"expected a 'ramp_down' of at most {longest}, got {got}; shorten it", "ramp_down")
        return self

    @property
    def kind(self) -> Literal["off", "ramp_down", "stays_on"]:
        """Which of the three it is."""
        if self.stays_on is not None:
            return "stays_on"
        return "off" if self.ramp_down is None else "ramp_down"


class Watchdog(Model):
    """Communication watchdog of a supply: what it does by itself when no message has come for a time."""

    times: SecondRange = Field(description="times that can be set")
    does: Literal["off"] = Field(description="what it does then: all outputs of the supply off")

    @model_validator(mode="after")
    def _can_wait(self) -> Self:
        if self.times.high <= 0.0:
            got = f"got {self.times.text}; write the times of its data sheet"
            raise fault(f"expected 'times' that reach above zero, {got}", "times")
        return self


class Interlock(Model):
    """A hardware enable of the outputs, apart from this program."""

    opened_by: Text = Field(description="what opens it, such as a door switch or a timer")
    stays_open: YesNo = Field(
        False,
        description="whether it opens too when the mains fail, and stays open until somebody closes it, as a "
        "contactor does that holds itself; a door switch stays closed",
    )
    watches: Literal["temperature", "protection circuit"] | None = Field(
        None,
        description="what of a cell that is charged opens it: its temperature, or its own protection "
        "circuit; left out: neither",
    )
    seen_to_act: Date = Field(description="day on which a person opened it and saw the outputs go off")
