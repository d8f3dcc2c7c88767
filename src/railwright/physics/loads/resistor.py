"""Resistor: i = v / R."""

from __future__ import annotations

import math
import sys
from typing import Annotated, Any

from pydantic import Field, model_validator

from railwright.physics.loads.law import Examples, LoadKind, LoadParameters
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


def examples(volts: float, amperes: float) -> Examples:
    """Loads that draw about so much, as a document writes them."""
    return {"": {"resistance": f"{volts / amperes} ohm"}}


KIND = LoadKind(
    "resistor",
    Resistor,
    sys.modules[__name__],
    either_way=True,
    bears_reverse=True,
    disabled={"resistance": math.inf},
)
