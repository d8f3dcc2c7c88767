"""Current over voltage from a table, straight lines between its points."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import ClassVar, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from railwright.physics.loads.law import Examples, LoadKind, LoadParameters, fault
from railwright.quantities import Amperes, UncertainRatio, Volts

FIRST = 1
"""Place of the first point in p."""


class VoltagePoint(BaseModel):
    """One point of a table of current over voltage."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    voltage: Volts = Field(description="voltage at the connector")
    current: Amperes = Field(description="current drawn there")


class CurrentOverVoltage(LoadParameters):
    """Draws the current that a table gives for its voltage; beyond the ends of the table it stays."""

    points: tuple[VoltagePoint, ...] = Field(
        description="rising voltages with their currents; straight lines between them, and from 0 V and 0 A "
        "where the first voltage lies above"
    )
    factor: UncertainRatio | None = Field(
        None, description="all currents times this, such as '100 % ± 10 %'; left out: as they are"
    )
    in_table: ClassVar[tuple[str, ...]] = ("points",)
    declared: ClassVar[tuple[str, ...]] = (
        "beyond the ends of a table of current over voltage the current stays",
    )
    assumed: ClassVar[Mapping[str, tuple[float, str]]] = {"factor": (1.0, "")}

    @model_validator(mode="after")
    def _rising(self) -> Self:
        points = self.points
        if not points or (len(points) == 1 and points[0].voltage <= 0.0):
            raise fault(
                "expected at least one point above 0 V in 'points', got none; "
                "add '{voltage: 12 V, current: 1 A}'",
                "points",
            )
        for number, (one, two) in enumerate(pairwise(points), start=2):
            if two.voltage <= one.voltage:
                raise fault(
                    f"expected rising voltages in 'points', got point {number} at {two.voltage:g} V after "
                    f"{one.voltage:g} V; put them in order",
                    "points",
                )
        if points[0].voltage <= 0.0:
            at_zero = [point.current for point in points if point.voltage == 0.0]
            if at_zero != [0.0]:
                got = f"{at_zero[0]:g} A" if at_zero else "none"
                raise fault(
                    "expected a point of 0 A at 0 V in 'points', as a load feeds nothing there, got "
                    f"{got}; correct it",
                    "points",
                )
        return self

    def table(self) -> tuple[float, ...]:
        """Voltage and current of each point, from 0 V on or below."""
        origin = (0.0, 0.0) if self.points[0].voltage > 0.0 else ()
        return (*origin, *(value for point in self.points for value in (point.voltage, point.current)))

    def knees(self) -> tuple[float, ...]:
        """The voltages of the table [V]."""
        return tuple(point.voltage for point in self.points)


def segment(v: float, p: Sequence[float]) -> int:
    """Number of points at or below a voltage."""
    low, high = 0, (len(p) - FIRST) // 2
    while low < high:
        middle = (low + high) // 2
        if p[FIRST + 2 * middle] <= v:
            low = middle + 1
        else:
            high = middle
    return low


def current(v: float, t: float, p: Sequence[float], y: Sequence[float], q: Sequence[float]) -> float:
    """By straight lines [A]."""
    number = segment(v, p)
    if number == 0:
        return p[0] * p[FIRST + 1]
    if number == (len(p) - FIRST) // 2:
        return p[0] * p[len(p) - 1]
    at = FIRST + 2 * (number - 1)
    return p[0] * (p[at + 1] + (p[at + 3] - p[at + 1]) * (v - p[at]) / (p[at + 2] - p[at]))


def region(v: float, t: float, p: Sequence[float], y: Sequence[float], q: Sequence[float]) -> int:
    """Between which points."""
    return segment(v, p)


def draws(v: float, p: Sequence[float]) -> tuple[float, float]:
    """The same at any time [A]."""
    drawn = current(v, 0.0, p, (), ())
    return drawn, drawn


def examples(volts: float, amperes: float) -> Examples:
    """Loads that draw about so much, as a document writes them."""
    points = [
        {"voltage": f"{0.5 * volts} V", "current": f"{amperes} A"},
        {"voltage": f"{volts} V", "current": f"{0.8 * amperes} A"},
    ]
    return {"": {"points": points}}


KIND = LoadKind("iv_table", CurrentOverVoltage, sys.modules[__name__])
