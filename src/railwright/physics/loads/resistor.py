"""Resistor: i = v / R."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from railwright.physics.loads.law import LoadParameters, no_states, nothing_happens, one_region
from railwright.quantities import Dimension, Uncertain

derivatives, region, enter = no_states, one_region, nothing_happens


class Resistor(LoadParameters):
    """A resistor across the input."""

    resistance: Annotated[Uncertain, Dimension("ohm", "uncertain", positive=True)] = Field(description="ohms")


def current(v: float, t: float, p: list[float], y: list[float], q: list[float]) -> float:
    """Ohm's law [A]."""
    return v / p[0]
