"""Filament lamp: a tungsten wire whose resistance rises with its temperature, and which cools by radiation.

    i = v / R(T)                R(T) = R_cold (T / T_cold)^1.215
    C dT/dt = v i - K (T⁴ - T_cold⁴)

R_hot = U / I is reached in the steady state at the rated voltage: that gives T_hot, and K from the rated
power. The exponent is fitted to the resistivity of tungsten between 300 K and 3000 K and is right to 2.5 %
there [1]. C follows from the warm-up time, in which the current at the rated voltage falls from its first
value to 1.1 times the rated one.

References
----------
.. [1] CRC Handbook of Chemistry and Physics, table of the resistivity of tungsten after H. A. Jones and
   I. Langmuir, 1927 (from memory; compared in tests/external/test_loads.py).
"""

from __future__ import annotations

import math
import sys
from collections.abc import Mapping, Sequence
from typing import Annotated, ClassVar, Self

from pydantic import Field, model_validator

from railwright.physics.loads.law import Examples, Follower, LoadKind, LoadParameters, expect_one, fault
from railwright.quantities import Dimension, Uncertain, UncertainWatts

EXPONENT = 1.215
"""Of the resistance over the absolute temperature."""
COLD = 293.15
"""Temperature of a lamp that is off, and of what is around it [K]."""
NEARLY = 1.1
"""Current at the end of the warm-up time, by the rated current."""
MELTS = 3695.0
"""Melting point of tungsten [K]."""
# Five points and weights of Gauss and Legendre on 0 .. 1.
NODES = (
    0.046910077030668,
    0.230765344947158,
    0.5,
    0.769234655052842,
    0.953089922969332,
)
WEIGHTS = (
    0.118463442528095,
    0.239314335249683,
    0.284444444444444,
    0.239314335249683,
    0.118463442528095,
)


class FilamentLamp(LoadParameters):
    """A filament lamp: it draws many times its rated current until it is hot."""

    rated_voltage: Annotated[Uncertain, Dimension("V", "uncertain", positive=True)] = Field(
        description="voltage of its rating"
    )
    rated_power: UncertainWatts | None = Field(
        None, description="power at the rated voltage; or give 'rated_current'"
    )
    rated_current: Annotated[Uncertain, Dimension("A", "uncertain", positive=True)] | None = Field(
        None, description="current at the rated voltage; or give 'rated_power'"
    )
    cold_resistance: Annotated[Uncertain, Dimension("ohm", "uncertain", positive=True)] | None = Field(
        None,
        description="resistance at 20 °C; left out: unknown, and assumed as the result says",
    )
    warm_up: Annotated[Uncertain, Dimension("s", "uncertain", positive=True)] | None = Field(
        None,
        description="time at the rated voltage until its current has fallen to 1.1 times the rated one; left "
        "out: unknown, and assumed as the result says",
    )
    declared: ClassVar[tuple[str, ...]] = (
        "a lamp is at 20 °C before it is switched on, and cools by radiation alone",
    )
    assumed: ClassVar[Mapping[str, tuple[float, str]]] = {
        "rated_power": (0.0, ""),
        "rated_current": (0.0, ""),
        "cold_resistance": (0.0, "cold resistance of a lamp is not given: 1/13 of the hot one assumed"),
        "warm_up": (0.1, "warm-up time of a lamp is not given: 100 ms assumed"),
    }

    @model_validator(mode="after")
    def _rating(self) -> Self:
        volts, power, amperes = self.rated_voltage, self.rated_power, self.rated_current
        expect_one(self, "rated_power", "rated_current")
        if self.cold_resistance is None:
            return self
        if power is not None:
            least, most = volts.low**2 / power.high, volts.high**2 / power.low
        else:
            assert amperes is not None
            least, most = volts.low / amperes.high, volts.high / amperes.low
        cold = self.cold_resistance
        if cold.high * 2.0 > least or (most / cold.low) ** (1.0 / EXPONENT) * COLD > MELTS:
            raise fault(
                f"expected 'cold_resistance' between 1/21 and 1/2 of the hot one, which is {least:.4g} Ω to "
                f"{most:.4g} Ω, got {cold.text}; correct it, or the rating",
                "cold_resistance",
            )
        return self


def rated_power(p: Sequence[float]) -> float:
    """Power at the rated voltage [W]."""
    return p[1] if p[1] > 0.0 else p[0] * p[2]


def cold_resistance(p: Sequence[float]) -> float:
    """Resistance at 20 °C [Ω]."""
    return p[3] if p[3] > 0.0 else p[0] * p[0] / rated_power(p) / 13.0


def hot_temperature(p: Sequence[float]) -> float:
    """Temperature at the rated voltage [K]."""
    return COLD * math.pow(p[0] * p[0] / rated_power(p) / cold_resistance(p), 1.0 / EXPONENT)


def resistance(p: Sequence[float], kelvin: float) -> float:
    """Resistance at a temperature [Ω]."""
    return cold_resistance(p) * math.pow(max(kelvin, 1.0) / COLD, EXPONENT)


def radiated(p: Sequence[float], kelvin: float) -> float:
    """Power that the filament gives away [W]: the rated power when it is as hot as at its rated voltage."""
    around = COLD**4
    return rated_power(p) * (kelvin**4 - around) / (hot_temperature(p) ** 4 - around)


def heat_capacity(p: Sequence[float]) -> float:
    """C [J/K] so that it warms up in its time: with u = T / T_hot, the time at the rated voltage is

    C T_hot / P · ∫ du / (u^-a - (u⁴ - u_cold⁴) / (1 - u_cold⁴)), taken at five points of s = -ln(1 - u), over
    which it is smooth.
    """
    cold = COLD / hot_temperature(p)
    begins, ends = -math.log(1.0 - cold), -math.log(1.0 - math.pow(NEARLY, -1.0 / EXPONENT))
    total = 0.0
    for k in range(5):
        left = math.exp(-begins - NODES[k] * (ends - begins))
        u = 1.0 - left
        total += WEIGHTS[k] * left / (math.pow(u, -EXPONENT) - (u**4 - cold**4) / (1.0 - cold**4))
    return p[4] * rated_power(p) / (hot_temperature(p) * total * (ends - begins))


def current(v: float, t: float, p: Sequence[float], y: Sequence[float], q: Sequence[float]) -> float:
    """Ohm's law at its temperature y[0] [A]."""
    return v / resistance(p, y[0])


def derivatives(
    v: float, t: float, p: Sequence[float], y: Sequence[float], q: Sequence[float], dy: list[float]
) -> None:
    """dT/dt = (v² / R - radiated) / C."""
    dy[0] = (v * v / resistance(p, y[0]) - radiated(p, y[0])) / heat_capacity(p)


def at_start(p: Sequence[float]) -> list[float]:
    """As warm as what is around it."""
    return [COLD]


def stored(p: Sequence[float], y: Sequence[float]) -> float:
    """Warmth of the filament [J]."""
    return heat_capacity(p) * (y[0] - COLD)


def heat(v: float, t: float, p: Sequence[float], y: Sequence[float], q: Sequence[float]) -> float:
    """What it radiates [W], light included."""
    return radiated(p, y[0])


def draws(v: float, p: Sequence[float]) -> tuple[float, float]:
    """Current once it is as hot as it gets at a steady voltage [A]: v² / R(T) = radiated(T), by halving."""
    low, high = COLD, 10.0 * hot_temperature(p)
    for _ in range(60):
        middle = 0.5 * (low + high)
        if v * v / resistance(p, middle) > radiated(p, middle):
            low = middle
        else:
            high = middle
    settled = v / resistance(p, low)
    return settled, settled


def inertia(p: Sequence[float]) -> float:
    """Infinite: cold it draws so much more than once it is hot that no capacitance stands for it."""
    return math.inf


def follower(start: float, p: Sequence[float]) -> Follower:
    """C dT/dt = v i - K (T⁴ - T_cold⁴) by linearly implicit steps (Rosenbrock, of first order)."""
    cold, capacity = cold_resistance(p), heat_capacity(p)
    radiates = rated_power(p) / (hot_temperature(p) ** 4 - COLD**4)
    ohms = start / draws(start, p)[0] if start > 0.0 else cold
    kelvin = max(COLD, COLD * math.pow(ohms / cold, 1.0 / EXPONENT))

    def step(v: float, lasts: float) -> float:
        nonlocal kelvin
        ohms = cold * math.pow(kelvin / COLD, EXPONENT)
        rate = (v * v / ohms - radiates * (kelvin**4 - COLD**4)) / capacity
        slope = -(EXPONENT * v * v / (ohms * kelvin) + 4.0 * radiates * kelvin**3) / capacity
        kelvin = max(COLD, kelvin + lasts * rate / (1.0 - lasts * slope))
        return v / (cold * math.pow(kelvin / COLD, EXPONENT))

    return step


def drawing_least(corners: Sequence[Sequence[float]]) -> Sequence[Sequence[float]]:
    """Of all corners of its tolerances the one that draws least while it is driven upwards: the most
    resistance, hot and cold, and the shortest warm-up time.
    """
    return [min(corners, key=lambda p: (rated_power(p) / p[0] ** 2, -cold_resistance(p), p[4]))]


def examples(volts: float, amperes: float) -> Examples:
    """Loads that draw about so much, as a document writes them."""
    return {"": {"rated_voltage": f"{volts} V", "rated_power": f"{volts * amperes} W"}}


KIND = LoadKind(
    "filament_lamp",
    FilamentLamp,
    sys.modules[__name__],
    states=("temperature",),
    either_way=True,
    bears_reverse=True,
)
