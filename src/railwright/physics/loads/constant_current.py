"""Constant current with a compliance voltage: below it the current fades in proportion to the voltage."""

from __future__ import annotations

import sys
from typing import Annotated

from pydantic import Field

from railwright.physics.loads.law import Examples, LoadKind, LoadParameters
from railwright.quantities import Dimension, Uncertain, UncertainAmperes


class ConstantCurrent(LoadParameters):
    """Draws the same current at any voltage above its compliance; a real load draws nothing at 0 V."""

    current: UncertainAmperes = Field(description="what it draws above the compliance voltage")
    compliance: Annotated[Uncertain, Dimension("V", "uncertain", positive=True)] = Field(
        description="below this voltage the current fades to zero, in proportion to the voltage, such as "
        "3 V for a 5 V input"
    )


def current(v: float, t: float, p: list[float], y: list[float], q: list[float]) -> float:
    """I · v / v_c below the compliance voltage v_c, I above it, nothing below 0 V [A]."""
    if v <= 0.0:
        return 0.0
    if v >= p[1]:
        return p[0]
    return p[0] * v / p[1]


def region(v: float, t: float, p: list[float], y: list[float], q: list[float]) -> int:
    """0: reversed, 1: fading, 2: constant."""
    if v <= 0.0:
        return 0
    return 2 if v >= p[1] else 1


def examples(volts: float, amperes: float) -> Examples:
    """Loads that draw about so much, as a document writes them."""
    return {"": {"current": f"{amperes} A", "compliance": f"{0.25 * volts} V"}}


KIND = LoadKind("constant_current", ConstantCurrent, sys.modules[__name__], disabled={"current": 0.0})
