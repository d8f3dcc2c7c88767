"""How often a shape is played: so many times, or until something happens, with a bound in any case."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Annotated, Literal, NamedTuple, Self

from pydantic import BeforeValidator, Field, WithJsonSchema, model_validator

from railwright.documents.model import Model, Text, exactly_one, fault
from railwright.quantities import (
    Amperes,
    PositiveSeconds,
    Seconds,
    Statement,
    Volts,
    parse_value,
    quoted,
    state,
)

MOST_TURNS = 100_000
"""Times that a shape is played at most."""

ROUNDING = 1e-9
"""A number of turns that is so near to a whole one, in parts of it, is that."""


class ReadingBound(NamedTuple):
    """A bound of what is read: the quantity, the side beyond which it counts, and the value [V or A]."""

    quantity: Literal["current", "voltage"]
    side: Literal["above", "below"]
    value: float

    def met(self, voltage: float, current: float) -> bool:
        """Whether a reading lies beyond it."""
        read = current if self.quantity == "current" else voltage
        return read > self.value if self.side == "above" else read < self.value

    @property
    def words(self) -> Statement:
        """'current below 50 mA'."""
        unit = "A" if self.quantity == "current" else "V"
        read = f"{self.quantity} {self.side}"
        return state("{read} {bound}", read=read, bound=(self.value, unit))


READING_BOUNDS: dict[str, tuple[Literal["current", "voltage"], Literal["above", "below"]]] = {
    "current_above": ("current", "above"),
    "current_below": ("current", "below"),
    "voltage_above": ("voltage", "above"),
    "voltage_below": ("voltage", "below"),
}
"""Key of a bound -> the quantity that it is about, and the side."""


class Until(Model):
    """What ends the repeating: somebody, a time, or what is read of an input."""

    press: Literal["key", "trigger"] | None = Field(
        None, description="the Enter key, or the signal SIGUSR1 to the run's process"
    )
    time: PositiveSeconds | None = Field(None, description="since the first turn began")
    current_above: Amperes | None = Field(None, description="the input's current lies above")
    current_below: Amperes | None = Field(None, description="the input's current lies below")
    voltage_above: Volts | None = Field(None, description="the input's voltage lies above")
    voltage_below: Volts | None = Field(None, description="the input's voltage lies below")
    input: Text | None = Field(
        None, description="whose reading it is; left out: of the one input that the shape moves"
    )
    duration: Seconds = Field(0.0, alias="for", description="the reading does so for this time, unbroken")

    @model_validator(mode="before")
    @classmethod
    def _short(cls, given: object) -> object:
        if given in ("key", "trigger"):
            return {"press": given}
        if isinstance(given, str):
            if not re.match(r"\s*[+-]?[\d.]", given):
                told = "expected key, trigger, a time such as '10 min', or a condition such as"
                raise ValueError(f"{told} {{current_below: 50 mA}}, got {quoted(given)}")
            return {"time": given}
        return given

    @model_validator(mode="after")
    def _one(self) -> Self:
        kind = exactly_one(self, ("press", "time", *READING_BOUNDS))
        if kind not in READING_BOUNDS and self.input is not None:
            raise fault(f"expected no 'input' beside '{kind}', got one; remove it", "input")
        if kind not in READING_BOUNDS and self.duration:
            raise fault(f"expected no 'for' beside '{kind}', got one; remove it", "for")
        return self

    @property
    def bound(self) -> ReadingBound | None:
        """The bound of a reading that ends it; None: something else does."""
        key = next((key for key in READING_BOUNDS if getattr(self, key) is not None), None)
        return None if key is None else ReadingBound(*READING_BOUNDS[key], float(getattr(self, key)))

    @property
    def words(self) -> Statement:
        """'a key comes', '10 min are over', 'current below 50 mA for 2 s'."""
        if self.bound is None:
            if self.time is None:
                return state("a {source} comes", source=self.press or "key")
            return state("{time} are over", time=(self.time, "s"))
        if not self.duration:
            return self.bound.words
        return state("{read} for {lasting}", read=self.bound.words, lasting=(self.duration, "s"))


def _times_or_time(given: object) -> object:
    """A count as a whole number, a time [s] as a float."""
    if isinstance(given, int) and not isinstance(given, bool):
        return given
    if isinstance(given, str) and re.fullmatch(r"\s*\d{1,9}\s*", given, re.ASCII):
        return int(given)
    if isinstance(given, str) and re.match(r"\s*[+-]?[\d.]", given):
        seconds = parse_value(given, "s")
        if seconds > 0.0:
            return float(seconds)
    raise ValueError(f"expected a number of times such as '20', or a time such as '8 h', got {quoted(given)}")


AtMost = Annotated[
    int | float,
    BeforeValidator(_times_or_time),
    WithJsonSchema({"type": ["integer", "string"], "examples": [20, "8 h"]}),
]
"""A count of turns (a whole number), or a time [s] (a float)."""


def turns_within(until: Until, at_most: int | float, turn: float, pause: float) -> int:
    """Turns that are played unless something ends them earlier; one in any case.

    turn: duration of one, pause: from its end to the beginning of the next [s]. A time in `at_most` holds the
    turns that end within it, one in `until` those that it takes until it is over.
    """
    most = at_most if isinstance(at_most, int) else _turns(at_most, turn, pause, math.floor)
    if until.time is not None:
        most = min(most, _turns(until.time, turn, pause, math.ceil))
    return max(1, most)


def _turns(seconds: float, turn: float, pause: float, rounded: Callable[[float], int]) -> int:
    """Turns that end within a time (floor), or last for it at least (ceil)."""
    if turn + pause <= 0.0:
        return MOST_TURNS + 1
    exact = (seconds + pause) / (turn + pause)
    near = round(exact)
    return near if abs(exact - near) < ROUNDING * max(1.0, exact) else rounded(exact)
