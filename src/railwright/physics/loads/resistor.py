"""Resistor: i = v / R."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field, model_validator

from railwright.physics.loads.law import LoadParameters
from railwright.quantities import Dimension, Uncertain


class Resistor(LoadParameters):
    """A resistor across the input; `resistor: 24 ohm` is short for `resistor: {resistance: 24 ohm}`."""

    resistance: Annotated[Uncertain, Dimension("ohm", "uncertain", positive=True)] = Field(description="ohms")

    @model_validator(mode="before")
    @classmethod
    def _short_form(cls, given: Any) -> Any:
        return {"resistance": given} if isinstance(given, str) else given


def current(v: float, t: float, p: list[float], y: list[float], q: list[float]) -> float:
    """Ohm's law [A]."""
    return v / p[0]
