"""Capacitor with its equivalent series resistance: C dv_c/dt = i = (v - v_c) / ESR."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from typing import Annotated, Any, ClassVar

from pydantic import Field, model_validator

from railwright.physics.loads.law import Examples, LoadKind, LoadParameters
from railwright.quantities import Dimension, Uncertain, UncertainFarads


class Capacitor(LoadParameters):
    """Input capacitance; `capacitor: 10 uF` is short for `capacitor: {capacitance: 10 uF}`."""

    capacitance: UncertainFarads = Field(description="farads")
    esr: Annotated[Uncertain, Dimension("ohm", "uncertain", positive=True)] | None = Field(
        None, description="equivalent series resistance; left out: unknown, and assumed as the result says"
    )
    assumed: ClassVar[Mapping[str, tuple[float, str]]] = {
        "esr": (0.02, "series resistance (ESR) of a capacitor is not given: 20 mΩ assumed")
    }

    @model_validator(mode="before")
    @classmethod
    def _short_form(cls, given: Any) -> Any:
        return {"capacitance": given} if isinstance(given, str) else given


def current(v: float, t: float, p: list[float], y: list[float], q: list[float]) -> float:
    """Current through the series resistance [A]; y[0] is the voltage of the ideal capacitance."""
    return (v - y[0]) / p[1]


def derivatives(v: float, t: float, p: list[float], y: list[float], q: list[float], dy: list[float]) -> None:
    """dv_c/dt = i / C."""
    dy[0] = (v - y[0]) / (p[1] * p[0])


def stored(p: list[float], y: list[float]) -> float:
    """½ C v_c² [J]."""
    return 0.5 * p[0] * y[0] ** 2


def heat(v: float, t: float, p: list[float], y: list[float], q: list[float]) -> float:
    """Heat in the series resistance [W]."""
    return (v - y[0]) ** 2 / p[1]


def draws(v: float, p: Sequence[float]) -> tuple[float, float]:
    """None, once it is charged [A]."""
    return 0.0, 0.0


def examples(volts: float, amperes: float) -> Examples:
    """Loads that draw about so much, as a document writes them."""
    return {"": {"capacitance": f"{0.01 * amperes / volts} F"}}


KIND = LoadKind(
    "capacitor", Capacitor, sys.modules[__name__], states=("capacitor voltage",), either_way=True, stores=True
)
