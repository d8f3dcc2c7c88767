"""LEDs in series with a resistor: Shockley's exponential with the ohmic part of each LED.

    v = (R + N r) i + N m ln(1 + i / I_s),   m = n V_T,   r = r_dynamic - m / I_rated

I_s is such that one LED has its forward voltage at the rated current; r_dynamic = dv/di there. The equation
is solved for w = ln(1 + i / I_s) by Newton's method from above, where its left side is convex: every step
comes nearer.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Mapping, Sequence
from typing import Annotated, ClassVar, Self

from pydantic import Field, model_validator

from railwright.physics.loads.law import Examples, LoadKind, LoadParameters, fault
from railwright.quantities import Dimension, Uncertain, UncertainRatio

THERMAL = 0.025852
"""k T / e at 300 K [V]."""
HIGHEST = 10.0
"""Forward voltage of one LED at most [V]; whatever has more is several in series."""


class LedString(LoadParameters):
    """LEDs in series, with a series resistor."""

    count: Annotated[Uncertain, Dimension("1", "uncertain", positive=True)] = Field(
        description="number of LEDs in series, such as 4"
    )
    forward_voltage: Annotated[Uncertain, Dimension("V", "uncertain", positive=True)] = Field(
        description="of one LED at its rated current"
    )
    rated_current: Annotated[Uncertain, Dimension("A", "uncertain", positive=True)] = Field(
        description="current at which the forward voltage is given"
    )
    series_resistance: Annotated[Uncertain, Dimension("ohm", "uncertain", nonnegative=True)] = Field(
        description="of the resistor in series with the whole string; '0 ohm' where there is none"
    )
    dynamic_resistance: Annotated[Uncertain, Dimension("ohm", "uncertain", positive=True)] | None = Field(
        None,
        description="slope of the forward voltage of one LED over its current, at the rated current; left "
        "out: unknown, and assumed as the result says",
    )
    ideality: UncertainRatio | None = Field(
        None, description="ideality factor of the junction, such as 2; left out: unknown, and assumed"
    )
    declared: ClassVar[tuple[str, ...]] = (
        "LEDs are at 27 °C, and reversed they block: no breakdown is computed",
    )
    assumed: ClassVar[Mapping[str, tuple[float, str]]] = {
        "dynamic_resistance": (
            0.0,
            "dynamic resistance of an LED is not given: twice that of its junction assumed",
        ),
        "ideality": (2.0, "ideality factor of an LED is not given: 2 assumed"),
    }

    @model_validator(mode="after")
    def _possible(self) -> Self:
        if not (self.count.certain and self.count.nominal >= 1.0 and self.count.nominal.is_integer()):
            raise fault(f"expected a whole number of LEDs, got {self.count.text}; write '4'", "count")
        if self.forward_voltage.high > HIGHEST or self.forward_voltage.low < 0.5:
            raise fault(
                f"expected 0.5 V to {HIGHEST:g} V in 'forward_voltage', got {self.forward_voltage.text}; it "
                "is that of one LED, and 'count' says how many there are",
                "forward_voltage",
            )
        ideality = self.ideality
        if ideality is not None and not (ideality.low >= 1.0 and ideality.high <= 8.0):
            raise fault(f"expected 1 to 8 in 'ideality', got {ideality.text}", "ideality")
        slope = self.dynamic_resistance
        junction = (ideality.high if ideality else 2.0) * THERMAL / self.rated_current.low
        if slope is not None and slope.low < junction:
            raise fault(
                f"expected 'dynamic_resistance' from {junction:.3g} Ω on, which is that of the junction "
                f"alone, got {slope.text}; correct it, or give a lower 'ideality'",
                "dynamic_resistance",
            )
        if slope is not None and slope.high * self.rated_current.high > 0.8 * self.forward_voltage.low:
            raise fault(
                f"expected 'dynamic_resistance' times 'rated_current' well below 'forward_voltage', got "
                f"{slope.text}",
                "dynamic_resistance",
            )
        return self


def current(v: float, t: float, p: Sequence[float], y: Sequence[float], q: Sequence[float]) -> float:
    """Current of the string [A], nothing below 0 V."""
    if v <= 0.0:
        return 0.0
    m = p[5] * THERMAL
    ohmic = p[4] - m / p[2] if p[4] > 0.0 else m / p[2]
    saturation = p[2] / math.expm1((p[1] - ohmic * p[2]) / m)
    volts, ohms = p[0] * m, p[3] + p[0] * ohmic
    if ohms <= 0.0:
        return saturation * math.expm1(v / volts)
    w = min(v / volts, math.log1p(v / (ohms * saturation)))
    for _ in range(50):
        above = ohms * saturation * math.expm1(w) + volts * w - v
        step = above / (ohms * saturation * math.exp(w) + volts)
        w -= step
        if abs(step) < 1e-15 * (1.0 + abs(w)):
            break
    return saturation * math.expm1(w)


def draws(v: float, p: Sequence[float]) -> tuple[float, float]:
    """The same at any time [A]."""
    drawn = current(v, 0.0, p, (), ())
    return drawn, drawn


def examples(volts: float, amperes: float) -> Examples:
    """Loads that draw about so much, as a document writes them."""
    count = math.ceil(0.75 * volts / 3.0)
    given = {
        "count": str(count),
        "forward_voltage": f"{0.75 * volts / count} V",
        "rated_current": f"{amperes} A",
        "series_resistance": f"{0.25 * volts / amperes} ohm",
    }
    return {"": given}


KIND = LoadKind("led_string", LedString, sys.modules[__name__], monotonic=True)
