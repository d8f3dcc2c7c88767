"""Output stage of a supply: loop gains and limits derived from the figures of a data sheet.

Two error amplifiers, one for voltage and one for current, drive one pass element; whichever asks for less
is in charge. The equations are in `equations.py`; here the figures of a data sheet become their coefficients.
Those figures are bounds and do not determine the gains uniquely: what is left is a declared assumption.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Literal

IN_HAND = 0.95
"""Part of the stated recovery time in which the load step recovers."""

OPP_RESPONSE = 1e-3
"""Response time of an over-power protection [s], where the data sheet does not give it."""

PASS_LAG = 0.1
"""Lag of the pass element in units of 1/ω of the voltage loop (declared)."""


@dataclass(frozen=True)
class OutputFigures:
    """Figures as a data sheet gives them, SI units; None: the data sheet does not say.

    rise, fall_*: from 10 to 90 % (90 to 10 %) of full scale; loaded: with the resistor that draws full
    current, or full power where that is less, at full scale. recovery: after a step of `recovery_step`
    (part of full current) the voltage is back within `recovery_band` [V] after `recovery_time` [s]. damping
    and limit_overshoot are the freedom that the figures leave (see `derive_output_stage`). crowbar [Ω]: the
    resistance with which the OVP shorts the output; None: it only switches off.
    """

    voltage_max: float
    current_max: float
    power: float | None = None
    rise: float | None = None
    fall_loaded: float | None = None
    fall_unloaded: float | None = None
    recovery_time: float | None = None
    recovery_band: float | None = None
    recovery_step: float | None = None
    limit_response: float | None = None
    output_capacitance: float | None = None
    bleeder: float | None = None
    sink_current: float | None = None
    ovp_response: float | None = None
    ovp_at: Literal["terminals", "sense"] = "terminals"
    opp_response: float | None = None
    crowbar: float | None = None
    damping: float = 1.0
    limit_overshoot: float = 0.25


@dataclass(frozen=True)
class OutputStage:
    """Coefficients of the output stage's equations, SI units.

    k_p [A/V], k_i [A/(V·s)]: voltage loop. k_c [1/s]: current loop. lag [s]: pass element. overshoot [A]:
    how far above its limit the current loop stands while the voltage loop is in charge. rise, fall [V/s]:
    the fastest that the reference moves. power [W] may be inf. crowbar [S]: conductance, 0: none.
    """

    voltage_max: float
    current_max: float
    power: float
    capacitance: float
    bleeder: float
    lag: float
    k_p: float
    k_i: float
    k_c: float
    overshoot: float
    sink: float
    rise: float
    fall: float
    ovp_response: float
    ovp_at_sense: bool
    diode_drop: float = 0.7
    diode_resistance: float = 0.05
    opp_response: float = 1e-3
    crowbar: float = 0.0


def _bisect(function: Callable[[float], float], low: float, high: float) -> float:
    """Where a falling function of a positive number crosses zero, in logarithmic bisection; an end if it
    does not.
    """
    if function(low) <= 0.0:
        return low
    if function(high) >= 0.0:
        return high
    for _ in range(40):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if function(middle) > 0.0 else (low, middle)
    return math.sqrt(low * high)


def load_step_response(damping: float) -> Callable[[float], float]:
    """Normalised deviation g(u) after a load step: Δv(t) = -ΔI / (C ω) · g(ω t).

    Inverse Laplace transform of (r p + 1) / (r p³ + p² + 2 ζ p + 1) with r = PASS_LAG, by partial fractions.
    """
    r, zeta = PASS_LAG, damping
    # Roots of the cubic by Durand and Kerner's simultaneous iteration: no numpy needed for three roots.
    roots = [0.4 + 0.9j, (0.4 + 0.9j) ** 2, (0.4 + 0.9j) ** 3]
    for _ in range(60):
        for i in range(3):
            p = roots[i]
            value = p**3 + (p**2 + 2.0 * zeta * p + 1.0) / r
            others = math.prod([p - roots[j] for j in range(3) if j != i], start=1.0 + 0.0j)
            roots[i] = p - value / others
    weights = [(r * p + 1.0) / (3.0 * r * p**2 + 2.0 * p + 2.0 * zeta) for p in roots]
    return lambda u: sum(w * cmath.exp(p * u) for w, p in zip(weights, roots, strict=True)).real


def _loop_bandwidth(
    figures: OutputFigures, capacitance: float, time: float, band: float, step: float
) -> float:
    """ω [rad/s] at which the load step is back within its band just before the data sheet says."""
    respond = load_step_response(figures.damping)
    curve = [(0.02 * n, abs(respond(0.02 * n))) for n in range(3000)]
    amperes = step * figures.current_max

    def excess(omega: float) -> float:
        allowed = band * capacitance * omega / amperes
        last = next((u for u, g in reversed(curve) if g > allowed), 0.0)
        return last / omega - IN_HAND * time

    return _bisect(excess, 1e-2 / time, 1e3 / time)


def _travel_time(low: float, high: float, speed: Callable[[float], float]) -> float:
    """Time for a voltage to move between two values at a speed that depends on it (midpoint rule, 100
    parts).
    """
    part = (high - low) / 100.0
    return sum(part / max(speed(low + (n + 0.5) * part), 1e-9) for n in range(100))


@lru_cache(maxsize=1024)
def derive_output_stage(figures: OutputFigures) -> tuple[OutputStage, tuple[str, ...]]:
    """Coefficients that give the data sheet's figures back, and the assumptions that were needed.

    The voltage loop is a PI controller on the output capacitor with the declared damping: k_p = 2 ζ ω C,
    k_i = ω² C, and ω such that the load step recovers in 95 % of the stated time. The current loop settles so
    that nine tenths of an excess are gone after the limit's response time: k_c = ln 10 / t.
    """
    assumptions: list[str] = []

    def known(value: float | None, otherwise: float, sentence: str) -> float:
        if value is None:
            assumptions.append(sentence)
            return otherwise
        return value

    volts, amperes = figures.voltage_max, figures.current_max
    power = known(figures.power, math.inf, "power limit of the output is not given: none assumed")
    capacitance = known(
        figures.output_capacitance,
        100e-6 * max(amperes, 0.1),
        "output capacitance is not given: 100 µF per ampere of rated current assumed",
    )
    time = known(figures.recovery_time, 100e-6, "load-transient recovery time is not given: 100 µs assumed")
    band = known(
        figures.recovery_band, 1e-3 * volts, "load-transient band is not given: 0.1 % of full scale assumed"
    )
    step = known(
        figures.recovery_step, 0.5, "load-transient step is not given: 50 % of rated current assumed"
    )
    omega = _loop_bandwidth(figures, capacitance, time, band, step)
    assumptions.append(
        f"damping of the voltage loop is {figures.damping:g}, lag of its pass element {PASS_LAG:g}/ω: "
        "a data sheet does not say"
    )
    response = known(
        figures.limit_response, 1e-3, "response time of the current limit is not given: 1 ms assumed"
    )
    assumptions.append(
        "until the current limit has responded the output may exceed it by "
        f"{figures.limit_overshoot:.0%} of its rated current: a data sheet does not say"
    )
    rise_time = known(figures.rise, 10e-3, "rise time is not given: 10 ms assumed")
    full_load = max(volts / amperes, volts**2 / power)
    low, high = 0.1 * volts, 0.9 * volts

    def too_slow(slew: float) -> float:
        def speed(v: float) -> float:
            return min(slew, (min(amperes, power / v) - v / full_load) / capacitance)

        return _travel_time(low, high, speed) - rise_time

    rise = _bisect(too_slow, 0.8 * volts / rise_time, 20.0 * volts / rise_time)
    fall, bleeder, sink = _down(figures, capacitance, full_load, rise, assumptions)
    ovp_response = known(
        figures.ovp_response,
        100e-6,
        "response time of the over-voltage protection is not given: 100 µs assumed",
    )
    stage = OutputStage(
        voltage_max=volts,
        current_max=amperes,
        power=power,
        capacitance=capacitance,
        bleeder=bleeder,
        lag=PASS_LAG / omega,
        k_p=2.0 * figures.damping * omega * capacitance,
        k_i=omega**2 * capacitance,
        k_c=math.log(10.0) / response,
        overshoot=figures.limit_overshoot * amperes,
        sink=sink,
        rise=rise,
        fall=fall,
        ovp_response=ovp_response,
        ovp_at_sense=figures.ovp_at == "sense",
        opp_response=OPP_RESPONSE if figures.opp_response is None else figures.opp_response,
        crowbar=0.0 if figures.crowbar is None else 1.0 / figures.crowbar,
    )
    return stage, tuple(assumptions)


def _down(
    figures: OutputFigures, capacitance: float, full_load: float, rise: float, assumptions: list[str]
) -> tuple[float, float, float]:
    """Fall of the reference [V/s], bleeder [Ω] and sink [A] that give the stated fall times back."""
    volts = figures.voltage_max
    low, high = 0.1 * volts, 0.9 * volts
    sink = figures.sink_current or 0.0

    def time(slew: float, conductance: float, sunk: float) -> float:
        return _travel_time(low, high, lambda v: min(slew, (v * conductance + sunk) / capacitance))

    fall, bleeder = rise, 200.0 * volts / figures.current_max
    if figures.bleeder is not None:
        bleeder = figures.bleeder
    elif figures.fall_unloaded is None:
        assumptions.append("bleeder is not given: 0.5 % of rated current at full scale assumed")
    if figures.fall_loaded is None:
        assumptions.append(
            "fall time with load is not given: the reference falls as fast as it rises, assumed"
        )
    for _ in range(2):  # fall and bleeder depend on each other, weakly
        if figures.fall_loaded is not None:
            fall, sink = _loaded(figures, time, 1.0 / full_load + 1.0 / bleeder, sink)
        if figures.bleeder is None and figures.fall_unloaded is not None:
            stated = figures.fall_unloaded
            too_fast = partial(_slower_than, stated, time, fall, sink)
            bleeder = _bisect(too_fast, 0.01 * full_load, 1e5 * full_load)
    if figures.sink_current is None and sink:
        assumptions.append(f"the stated fall time needs an output that sinks: {sink:.3g} A assumed")
    elif figures.sink_current is None:
        assumptions.append("whether the output sinks current is not given: it does not, assumed")
    return fall, bleeder, sink


FallTime = Callable[[float, float, float], float]
"""(slew [V/s], conductance of load and bleeder [S], sunk current [A]) -> 90 to 10 % fall time [s]."""


def _slower_than(stated: float, time: FallTime, slew: float, sink: float, bleeder: float) -> float:
    return stated - time(slew, 1.0 / bleeder, sink)


def _loaded(figures: OutputFigures, time: FallTime, conductance: float, sink: float) -> tuple[float, float]:
    """Fall of the reference [V/s], and the sink [A] that the stated time needs where none is given."""
    stated, amperes, volts = figures.fall_loaded, figures.current_max, figures.voltage_max
    assert stated is not None
    if figures.sink_current is None and time(math.inf, conductance, 0.0) > stated:
        # Neither load nor bleeder is fast enough, so that the output must sink.
        sink = _bisect(
            lambda sunk: time(math.inf, conductance, sunk) - 0.9 * stated, 1e-4 * amperes, 1e2 * amperes
        )
    fall = _bisect(
        lambda slew: time(slew, conductance, sink) - stated, 0.8 * volts / stated, 100.0 * volts / stated
    )
    return fall, sink
