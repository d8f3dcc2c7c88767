"""Coil of a relay, valve or solenoid with a freewheel diode across it.

L di/dt = v - R i,   drawn: i - i_d,   i_d = (-v - V_d) / R_d where that is above zero
"""

from __future__ import annotations

import math
import sys
from collections.abc import Mapping, Sequence
from typing import Annotated, ClassVar

from pydantic import Field

from railwright.physics.loads.law import Ascent, Examples, LoadKind, LoadParameters, Ramp, Rising
from railwright.quantities import Dimension, Uncertain


class Coil(LoadParameters):
    """A coil with a freewheel diode; a reversed supply sees the diode alone."""

    resistance: Annotated[Uncertain, Dimension("ohm", "uncertain", positive=True)] = Field(
        description="resistance of the winding"
    )
    inductance: Annotated[Uncertain, Dimension("H", "uncertain", positive=True)] = Field(
        description="inductance of the winding"
    )
    diode_drop: Annotated[Uncertain, Dimension("V", "uncertain", nonnegative=True)] | None = Field(
        None, description="forward drop of the freewheel diode; left out: unknown, and assumed"
    )
    diode_resistance: Annotated[Uncertain, Dimension("ohm", "uncertain", positive=True)] | None = Field(
        None, description="resistance of the freewheel diode above its drop; left out: unknown, and assumed"
    )
    assumed: ClassVar[Mapping[str, tuple[float, str]]] = {
        "diode_drop": (0.7, "forward drop of a freewheel diode is not given: 0.7 V assumed"),
        "diode_resistance": (0.05, "resistance of a freewheel diode is not given: 50 mΩ assumed"),
    }


def diode(v: float, p: Sequence[float]) -> float:
    """Current of the freewheel diode [A]."""
    return max(0.0, (-v - p[2]) / p[3])


def current(v: float, t: float, p: Sequence[float], y: Sequence[float], q: Sequence[float]) -> float:
    """Winding less diode [A]; y[0] is the current of the winding."""
    return y[0] - diode(v, p)


def derivatives(
    v: float, t: float, p: Sequence[float], y: Sequence[float], q: Sequence[float], dy: list[float]
) -> None:
    """di/dt = (v - R i) / L."""
    dy[0] = (v - p[0] * y[0]) / p[1]


def region(v: float, t: float, p: Sequence[float], y: Sequence[float], q: Sequence[float]) -> int:
    """1: the diode conducts."""
    return 1 if -v > p[2] else 0


def stored(p: Sequence[float], y: Sequence[float]) -> float:
    """½ L i² [J]."""
    return 0.5 * p[1] * y[0] ** 2


def heat(v: float, t: float, p: Sequence[float], y: Sequence[float], q: Sequence[float]) -> float:
    """Winding and diode [W]."""
    return p[0] * y[0] ** 2 - v * diode(v, p)


def draws(v: float, p: Sequence[float]) -> tuple[float, float]:
    """v / R, and what the diode takes from a reversed supply [A]."""
    settled = v / p[0] - diode(v, p)
    return settled, settled


def rising(ramp: Ramp, p: Sequence[float]) -> Rising:
    """Its current on a ramp, which lags behind by L / R."""
    winding = ramp.through(p[0] + ramp.ohms, p[1])
    return Rising(lambda v, t: winding(t), winds=True)


def rising_most(corners: Sequence[Sequence[float]]) -> Sequence[Sequence[float]]:
    """Of all corners of its tolerances the one that draws most on a ramp: least resistance and inductance."""
    return [min(corners, key=lambda p: (p[0], p[1]))]


def at_least(v: float, risen: Ascent, p: Sequence[float]) -> float:
    """What its winding carried before, and what has come since: each part of the voltage counts by
    1 - exp(-t R / L) from when it was passed [A].
    """
    amperes, parts = max(0.0, risen.start) / p[0], 24
    for n in range(parts):
        passed = risen.start + (v - risen.start) * (n + 1) / parts
        amperes -= (v - risen.start) / parts / p[0] * math.expm1(-risen.since(passed) * p[0] / p[1])
    return amperes


def examples(volts: float, amperes: float) -> Examples:
    """Loads that draw about so much, as a document writes them."""
    return {"": {"resistance": f"{volts / amperes} ohm", "inductance": f"{0.01 * volts / amperes} H"}}


KIND = LoadKind(
    "coil",
    Coil,
    sys.modules[__name__],
    states=("current",),
    rises=True,
    clamp=("diode_drop", "diode_resistance"),
)
