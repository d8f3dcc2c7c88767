"""A hold: everything stays as it is for a time, or until something comes, within a time."""

from __future__ import annotations

from typing import Any, Self

from pydantic import ConfigDict, Field, model_validator

from railwright.documents.model import Model, Text, exactly_one, fault
from railwright.documents.repeating import READING_BOUNDS, ReadingBound
from railwright.quantities import (
    Amperes,
    Coulombs,
    Joules,
    PositiveSeconds,
    Seconds,
    Statement,
    Volts,
    state,
)

TOTALS = {"charge": ("C", "charge"), "energy": ("J", "energy")}
"""Key of what has gone into an input since the hold began: its unit, and what it is called."""


class HeldUntil(Model):
    """What ends a hold: what is read of an input, what has gone into it since the hold began, or a time."""

    current_above: Amperes | None = Field(None, description="the input's current lies above")
    current_below: Amperes | None = Field(None, description="the input's current lies below")
    voltage_above: Volts | None = Field(None, description="the input's voltage lies above")
    voltage_below: Volts | None = Field(None, description="the input's voltage lies below")
    charge: Coulombs | None = Field(None, description="so much charge has gone in since the hold began")
    energy: Joules | None = Field(None, description="so much energy has gone in since the hold began")
    time: PositiveSeconds | None = Field(None, description="since the hold began")
    input: Text | None = Field(None, description="whose reading it is; left out: of the one input that is on")
    duration: Seconds = Field(0.0, alias="for", description="the reading does so for this time, unbroken")

    @model_validator(mode="after")
    def _one(self) -> Self:
        kind = exactly_one(self, (*READING_BOUNDS, *TOTALS, "time"))
        if kind not in READING_BOUNDS and self.duration:
            raise fault(f"expected no 'for' beside '{kind}', got one; remove it", "for")
        if kind == "time" and self.input is not None:
            raise fault("expected no 'input' beside 'time', got one; remove it", "input")
        return self

    @property
    def kind(self) -> str:
        """Which of the kinds of condition it is."""
        return next(key for key in (*READING_BOUNDS, *TOTALS, "time") if getattr(self, key) is not None)

    @property
    def bound(self) -> ReadingBound | None:
        """The bound of a reading that ends it; None: something else does."""
        if self.kind not in READING_BOUNDS:
            return None
        return ReadingBound(*READING_BOUNDS[self.kind], float(getattr(self, self.kind)))

    @property
    def words(self) -> Statement:
        """'current below 100 mA for 1 s', '2 C have gone in', '10 min are over'."""
        if self.bound is not None:
            if not self.duration:
                return self.bound.words
            return state("{read} for {lasting}", read=self.bound.words, lasting=(self.duration, "s"))
        if self.time is not None:
            return state("{time} are over", time=(self.time, "s"))
        unit, _ = TOTALS[self.kind]
        return state("{total} have gone in", total=(getattr(self, self.kind), unit))


def _time_or_keys(schema: dict[str, Any]) -> None:
    """In the schema for editors: a time, or the keys."""
    keys = {key: schema.pop(key) for key in ("type", "properties", "additionalProperties")}
    keys["properties"].pop("time", None)
    schema["anyOf"] = [{"type": "string", "examples": ["2 s"]}, {**keys, "required": ["until", "at_most"]}]


class HoldStep(Model):
    """A time, or `{until: CONDITION, at_most: TIME}`. What never came, or came at once, is no pass."""

    model_config = ConfigDict(json_schema_extra=_time_or_keys)

    time: Seconds | None = Field(None, description="everything stays as it is for this time")
    until: HeldUntil | None = Field(None, description="everything stays as it is until this comes")
    at_most: PositiveSeconds | None = Field(
        None, description="beside `until`: so long at most; a run in which it did not come by then ends there"
    )

    @model_validator(mode="before")
    @classmethod
    def _short(cls, given: object) -> object:
        return given if isinstance(given, dict) else {"time": given}

    @model_validator(mode="after")
    def _bounded(self) -> Self:
        exactly_one(self, ("time", "until"))
        if self.until is not None and self.at_most is None:
            raise fault("expected 'at_most' beside 'until', got none; add a time", "until")
        if self.until is None and self.at_most is not None:
            raise fault("expected 'at_most' beside 'until' only, got it without; remove it", "at_most")
        until = self.until.time if self.until is not None else None
        if until is not None and self.at_most is not None and until > self.at_most:
            raise fault("expected an 'at_most' no shorter than the time in 'until'; correct one", "at_most")
        return self

    @property
    def longest(self) -> float:
        """How long it lasts at most [s]."""
        return float(self.time if self.time is not None else self.at_most or 0.0)
