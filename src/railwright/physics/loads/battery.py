"""Battery that is charged, and feeds back what it has where the voltage falls below its own.

    i = (v - V_oc(Q) - V_d) / R,   dQ/dt = i

V_oc is one voltage, or straight lines between the points of a curve over the state of charge; beyond the
ends of the curve the lines go on. With a blocking diode (forward drop V_d) no current flows back.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Annotated, ClassVar, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from railwright.physics.loads.law import Ascent, Examples, LoadKind, LoadParameters, expect_one, fault
from railwright.quantities import Dimension, PositiveVolts, Ratio, Uncertain

FIRST = 5
"""Place of the first point of the curve in p."""


class ChargePoint(BaseModel):
    """One point of a battery's open-circuit voltage over its state of charge."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    charge: Ratio = Field(description="state of charge, 0 % empty to 100 % full")
    voltage: PositiveVolts = Field(description="open-circuit voltage there")


class Battery(LoadParameters):
    """A battery across the input: it is charged, and feeds back where nothing blocks."""

    open_circuit_voltage: Annotated[Uncertain, Dimension("V", "uncertain", positive=True)] | None = Field(
        None, description="voltage without current, at any state of charge; or give a 'curve'"
    )
    series_resistance: Annotated[Uncertain, Dimension("ohm", "uncertain", positive=True)] = Field(
        description="of the battery and all that is in series with it"
    )
    capacity: Annotated[Uncertain, Dimension("C", "uncertain", positive=True)] = Field(
        description="charge from empty to full, such as 2.2 Ah"
    )
    state_of_charge: Annotated[Uncertain, Dimension("1", "uncertain", nonnegative=True)] = Field(
        description="charge at the start, by capacity"
    )
    diode_drop: Annotated[Uncertain, Dimension("V", "uncertain", nonnegative=True)] | None = Field(
        None, description="forward drop of a series diode that lets it charge only; left out: there is none"
    )
    curve: tuple[ChargePoint, ...] | None = Field(
        None, description="open-circuit voltage over state of charge; straight lines between the points"
    )
    in_table: ClassVar[tuple[str, ...]] = ("curve",)
    declared: ClassVar[tuple[str, ...]] = (
        "the open-circuit voltage of a battery follows its charge at once, without rest or hysteresis",
    )
    assumed: ClassVar[Mapping[str, tuple[float, str]]] = {
        "open_circuit_voltage": (0.0, ""),
        "diode_drop": (-1.0, ""),
    }

    @model_validator(mode="after")
    def _curve(self) -> Self:
        curve = self.curve
        expect_one(self, "open_circuit_voltage", "curve")
        if self.state_of_charge.high > 1.0:
            got = self.state_of_charge.text
            raise fault(f"expected a state of charge up to 100 %, got {got}", "state_of_charge")
        if curve is None:
            return self
        if len(curve) < 2:
            raise fault(
                "expected at least two points in 'curve', got one; write one as 'open_circuit_voltage'",
                "curve",
            )
        for number, (one, two) in enumerate(pairwise(curve), start=2):
            if two.charge <= one.charge or two.voltage < one.voltage:
                raise fault(
                    "expected rising charges in 'curve', and voltages that never fall, got point "
                    f"{number} at {two.charge * 100:g} % and {two.voltage:g} V after "
                    f"{one.charge * 100:g} % and {one.voltage:g} V",
                    "curve",
                )
        if curve[-1].charge > 1.0:
            raise fault(f"expected charges up to 100 % in 'curve', got {curve[-1].charge * 100:g} %", "curve")
        return self

    def table(self) -> tuple[float, ...]:
        """State of charge and voltage of each point."""
        return tuple(value for point in self.curve or () for value in (point.charge, point.voltage))


def segment(charge: float, p: Sequence[float]) -> int:
    """Place in p of the first of the two points that a state of charge lies between; 0: one voltage."""
    if len(p) <= FIRST:
        return 0
    low, high = 0, (len(p) - FIRST) // 2 - 1
    while high - low > 1:
        middle = (low + high) // 2
        if charge < p[FIRST + 2 * middle]:
            high = middle
        else:
            low = middle
    return FIRST + 2 * low


def open_circuit(coulombs: float, p: Sequence[float]) -> float:
    """Voltage without current [V]."""
    charge = coulombs / p[2]
    at = segment(charge, p)
    if at == 0:
        return p[0]
    return p[at + 1] + (p[at + 3] - p[at + 1]) * (charge - p[at]) / (p[at + 2] - p[at])


def current(v: float, t: float, p: Sequence[float], y: Sequence[float], q: Sequence[float]) -> float:
    """Charging current [A], negative where it feeds back; y[0] is its charge [C]."""
    over = v - open_circuit(y[0], p)
    if p[4] >= 0.0:
        over = max(0.0, over - p[4])
    return over / p[1]


def derivatives(
    v: float, t: float, p: Sequence[float], y: Sequence[float], q: Sequence[float], dy: list[float]
) -> None:
    """dQ/dt = i."""
    dy[0] = current(v, t, p, y, q)


def region(v: float, t: float, p: Sequence[float], y: Sequence[float], q: Sequence[float]) -> int:
    """Segment of the curve, and whether the diode blocks."""
    blocks = p[4] >= 0.0 and v <= open_circuit(y[0], p) + p[4]
    return 2 * segment(y[0] / p[2], p) + (1 if blocks else 0)


def at_start(p: Sequence[float]) -> list[float]:
    """Its charge [C]."""
    return [p[2] * p[3]]


def stored(p: Sequence[float], y: Sequence[float]) -> float:
    """∫ V_oc dQ from empty [J]: exact for straight lines."""
    energy, below = 0.0, 0.0
    knees = [p[2] * p[at] for at in range(FIRST + 2, len(p) - 2, 2)]
    for knee in [*(each for each in knees if each < y[0]), y[0]]:
        middle = open_circuit(0.5 * (below + knee), p)
        energy += middle * (knee - below)
        below = knee
    return energy


def heat(v: float, t: float, p: Sequence[float], y: Sequence[float], q: Sequence[float]) -> float:
    """In its resistance and its diode [W]."""
    amperes = current(v, t, p, y, q)
    return amperes * (p[1] * amperes + max(0.0, p[4]))


def draws(v: float, p: Sequence[float]) -> tuple[float, float]:
    """From its current at the start to none, where it is full or empty [A]."""
    first = current(v, 0.0, p, at_start(p), ())
    return min(0.0, first), max(0.0, first)


def at_least(v: float, risen: Ascent, p: Sequence[float]) -> float:
    """What it takes at once, charged as far as it ever was [A]."""
    first, drop = p[2] * p[3], max(0.0, p[4])
    holds = max(open_circuit(first, p) + drop, min(risen.fed, open_circuit(first + risen.charge, p) + drop))
    return max(0.0, v - holds) / p[1]


def examples(volts: float, amperes: float) -> Examples:
    """Loads that draw about so much, as a document writes them."""
    cell = {
        "series_resistance": f"{0.05 * volts / amperes} ohm",
        "capacity": f"{100.0 * amperes} C",
        "state_of_charge": "50 %",
    }
    curve = [
        {"charge": "0 %", "voltage": f"{0.75 * volts} V"},
        {"charge": "100 %", "voltage": f"{1.1 * volts} V"},
    ]
    behind = {"open_circuit_voltage": f"{0.9 * volts} V", "diode_drop": "0.5 V"}
    return {"": cell | {"curve": curve}, "behind a diode": cell | behind}


KIND = LoadKind("battery", Battery, sys.modules[__name__], states=("charge",), monotonic=True)
