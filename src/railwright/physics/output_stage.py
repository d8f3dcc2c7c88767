"""Output stage of a supply: loop gains and limits derived from the figures of a data sheet.

Two error amplifiers, one for voltage and one for current, drive one pass element; whichever asks for less
is in charge. The equations are in `equations.py`; here the figures of a data sheet become their coefficients.
Those figures are bounds and do not determine the gains uniquely: what is left is a declared assumption.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable
from functools import lru_cache, partial
from typing import Any, Literal, NamedTuple

from railwright.assumptions import given_or
from railwright.quantities import Uncertain

IN_HAND = 0.95
"""Part of the stated recovery time in which the load step recovers."""

CEILING = 1.05
"""What an output can rise to, whatever it senses, in parts of its rated voltage (common practice, no
source).
"""

HELD_BELOW = 1.0 - 1e-4
"""Part of the ceiling at which an output that no longer sees its voltage is held by its own voltage loop, so
that the loop and the ceiling do not take turns.
"""

NOT_MET = 0.01
"""Part of a stated rise time by which the computed one may be longer without a word."""

OWN_CAPACITANCE = 100e-6
"""Capacitance of an output per ampere of its rated current [F/A], where the data sheet does not give it."""

LIMIT_RESPONSE = 1e-3
"""Response time of a current limit [s], where the data sheet does not give it."""

OPP_RESPONSE = 1e-3
"""Response time of an over-power protection [s], where the data sheet does not give it."""

GRID, POINTS = 0.02, 3000
"""The response to a load step is looked at in steps of GRID / ω."""

DAMPING = Uncertain(1.0, 0.7, 1.4, "0.7 .. 1.4")
LIMIT_OVERSHOOT = Uncertain(0.25, 0.0, 0.5, "0 % .. 50 %")
"""What a data sheet leaves open of an output stage, with the bounds that are assumed: damping of its voltage
loop; by what part of the rated current it exceeds a limit that has not responded yet.
"""

PASS_LAG = 0.1
"""Lag of the pass element in units of 1/ω of the voltage loop (declared)."""


class OutputFigures(NamedTuple):
    """Figures as a data sheet gives them, SI units; None: the data sheet does not say.

    rise, fall_*: from 10 to 90 % (90 to 10 %) of full scale; loaded: with the resistor that draws full
    current, or full power where that is less, at full scale. recovery: after a step of `recovery_step`
    (part of full current) the voltage is back within `recovery_band` [V] after `recovery_time` [s]. damping
    and limit_overshoot are the freedom that the figures leave (see `derive_output_stage`). crowbar [Ω]: the
    resistance with which the OVP shorts the output; None: it only switches off. off_sink: what it takes in
    while it is off, beside its bleeder [A].
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
    off_sink: float = 0.0
    ovp_response: float | None = None
    ovp_at: Literal["terminals", "sense"] = "terminals"
    opp_response: float | None = None
    crowbar: float | None = None
    damping: float = 1.0
    limit_overshoot: float = 0.25


class OutputStage(NamedTuple):
    """Coefficients of the output stage's equations, SI units.

    k_p [A/V], k_i [A/(V·s)]: voltage loop. k_c [1/s]: current loop. lag [s]: pass element. overshoot [A]:
    how far above its limit the current loop stands while the voltage loop is in charge. rise, fall [V/s]:
    the fastest that the reference moves. power [W] may be inf. crowbar [S]: conductance, 0: none. off_sink
    [A]: what it takes in while it is off.
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
    off_sink: float = 0.0


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


def blind_weight(set_voltage: float, voltage_max: float) -> float:
    """Weight of its own voltage with which an output that no longer sees it rises to its ceiling, and stays.

    A voltage loop that senses v · V_set / V_ceiling asks for all it can until v is at the ceiling.
    """
    return set_voltage / (HELD_BELOW * CEILING * voltage_max)


Modes = tuple[complex, complex, complex, complex, complex, complex]


def step_modes(damping: float) -> Modes:
    """Poles p and weights w of the normalised deviation after a load step: g(u) = Re Σ w exp(p u).

    Δv(t) = -ΔI / (C ω) · g(ω t): inverse Laplace transform of (r p + 1) / (r p³ + p² + 2 ζ p + 1) with
    r = PASS_LAG, by partial fractions. Written so that it compiles too.
    """
    r = PASS_LAG
    # Roots of the cubic by Durand and Kerner's simultaneous iteration: no numpy needed for three roots.
    a, b, c = 0.4 + 0.9j, (0.4 + 0.9j) ** 2, (0.4 + 0.9j) ** 3
    for _ in range(60):
        a -= (a * a * a + (a * a + 2.0 * damping * a + 1.0) / r) / ((a - b) * (a - c))
        b -= (b * b * b + (b * b + 2.0 * damping * b + 1.0) / r) / ((b - a) * (b - c))
        c -= (c * c * c + (c * c + 2.0 * damping * c + 1.0) / r) / ((c - a) * (c - b))
    w_a = (r * a + 1.0) / (3.0 * r * a * a + 2.0 * a + 2.0 * damping)
    w_b = (r * b + 1.0) / (3.0 * r * b * b + 2.0 * b + 2.0 * damping)
    w_c = (r * c + 1.0) / (3.0 * r * c * c + 2.0 * c + 2.0 * damping)
    return a, b, c, w_a, w_b, w_c


def loop_bandwidth(
    modes: Modes, capacitance: float, time: float, band: float, amperes: float, above: Any
) -> float:
    """ω [rad/s] at which a load step of `amperes` is back within its band [V] just before the data sheet's
    time [s]. modes: of `step_modes`; above: POINTS numbers to work in. Written so that it compiles too.
    """
    a, b, c, w_a, w_b, w_c = modes
    step_a, step_b, step_c = cmath.exp(GRID * a), cmath.exp(GRID * b), cmath.exp(GRID * c)
    for n in range(POINTS):
        above[n] = abs((w_a + w_b + w_c).real)
        w_a, w_b, w_c = w_a * step_a, w_b * step_b, w_c * step_c
    for n in range(POINTS - 2, -1, -1):  # from here on the largest deviation that is still to come
        above[n] = max(above[n], above[n + 1])
    low, high = 1e-2 / time, 1e3 / time
    for _ in range(40):
        omega = math.sqrt(low * high)
        allowed = band * capacitance * omega / amperes
        inside, outside = 0, POINTS
        while outside - inside > 1:
            middle = (inside + outside) // 2
            if above[middle] > allowed:
                inside = middle
            else:
                outside = middle
        if inside * GRID > IN_HAND * time * omega:
            low = omega
        else:
            high = omega
    return math.sqrt(low * high)


@lru_cache(maxsize=1024)
def _bandwidth(damping: float, capacitance: float, time: float, band: float, amperes: float) -> float:
    """`loop_bandwidth` by the damping; worked out once for stages that differ in something else."""
    return loop_bandwidth(step_modes(damping), capacitance, time, band, amperes, [0.0] * POINTS)


def voltage_loop(omega: float, damping: float, capacitance: float) -> tuple[float, float, float]:
    """k_p [A/V], k_i [A/(V·s)] and the lag of the pass element [s] of a PI loop on the output capacitor."""
    return 2.0 * damping * omega * capacitance, omega * omega * capacitance, PASS_LAG / omega


def _travel_time(volts: float, speed: Callable[[float], float]) -> Callable[[float], float]:
    """From a slew [V/s] to the time [s] for a voltage to move between 10 and 90 % of full scale at that slew,
    or at a speed that depends on the voltage [V/s] where that is less (midpoint rule, 100 parts).
    """
    part = 0.8 * volts / 100.0
    speeds = [max(speed(0.1 * volts + (n + 0.5) * part), 1e-9) for n in range(100)]
    return lambda slew: part * sum(1.0 / (each if each < slew else slew) for each in speeds)


def recovery_figures(figures: OutputFigures) -> tuple[float, float, float, list[str]]:
    """Time [s], band [V] and current [A] of the load step, and what was assumed of them."""
    assumed: list[str] = []
    known = partial(given_or, assumed.append)
    time = known(figures.recovery_time, 100e-6, "load-transient recovery time is not given: 100 µs assumed")
    band = known(
        figures.recovery_band,
        1e-3 * figures.voltage_max,
        "load-transient band is not given: 0.1 % of full scale assumed",
    )
    step = known(
        figures.recovery_step, 0.5, "load-transient step is not given: 50 % of rated current assumed"
    )
    return time, band, step * figures.current_max, assumed


def assumed_capacitance(amperes: float) -> float:
    """Capacitance of an output of so much rated current [F], where the data sheet does not give it."""
    return OWN_CAPACITANCE * max(amperes, 0.1)


@lru_cache(maxsize=1024)
def reference_rise(volts: float, amperes: float, power: float, capacitance: float, rise_time: float) -> float:
    """The fastest that an output's reference moves upwards [V/s], such that it rises from 10 to 90 % of its
    full scale [V] in the stated time [s] with full load, by the ratings of its current [A] and power [W].

    Where the current left beside the load cannot charge the output's own capacitance [F] in that time, it is
    as fast as the rated current charges it without load: more has no effect.
    """
    takes = full_load_rise(volts, amperes, power, capacitance)
    slowest = 0.8 * volts / rise_time
    return _bisect(lambda slew: takes(slew) - rise_time, slowest, max(slowest, amperes / capacitance))


def full_load_rise(
    volts: float, amperes: float, power: float, capacitance: float
) -> Callable[[float], float]:
    """From the rate of the reference [V/s] to the time [s] for 10 to 90 % of full scale into the resistor
    that draws full current, or full power where that is less.
    """
    full_load = max(volts / amperes, volts**2 / power)
    return _travel_time(volts, lambda v: (min(amperes, power / v) - v / full_load) / capacitance)


# One piece: each figure is used as soon as it is known or assumed, in the order of the assumptions.
@lru_cache(maxsize=1024)
def derive_output_stage(figures: OutputFigures) -> tuple[OutputStage, tuple[str, ...]]:
    """Coefficients that give the data sheet's figures back, and the assumptions that were needed.

    The voltage loop is a PI controller on the output capacitor with the declared damping: k_p = 2 ζ ω C,
    k_i = ω² C, and ω such that the load step recovers in 95 % of the stated time. The current loop settles so
    that nine tenths of an excess are gone after the limit's response time: k_c = ln 10 / t. That is so for
    overloads that ask for more than the limit and the overshoot; a slighter one leaves the loop, which
    begins at the overshoot, further to go.
    """
    assumptions: list[str] = []
    known = partial(given_or, assumptions.append)
    volts, amperes = figures.voltage_max, figures.current_max
    # Without a power rating, full voltage times full current, at which the others limit.
    power = math.inf if figures.power is None else figures.power
    capacitance = known(
        figures.output_capacitance,
        assumed_capacitance(amperes),
        f"output capacitance is not given: {OWN_CAPACITANCE * 1e6:g} µF per ampere of rated current assumed",
    )
    time, band, step, made = recovery_figures(figures)
    assumptions += made
    omega = _bandwidth(figures.damping, capacitance, time, band, step)
    k_p, k_i, lag = voltage_loop(omega, figures.damping, capacitance)
    response = known(
        figures.limit_response,
        LIMIT_RESPONSE,
        f"response time of the current limit is not given: {LIMIT_RESPONSE * 1e3:g} ms assumed",
    )
    rise_time = known(figures.rise, 10e-3, "rise time is not given: 10 ms assumed")
    full_load = max(volts / amperes, volts**2 / power)
    rise = reference_rise(volts, amperes, power, capacitance, rise_time)
    takes = full_load_rise(volts, amperes, power, capacitance)(rise)
    if takes > rise_time * (1.0 + NOT_MET):
        assumptions.append(
            f"a rise in {rise_time * 1e3:.3g} ms with full load cannot be met: what the load leaves of the "
            f"rated current charges {capacitance * 1e6:.3g} µF in {takes * 1e3:.3g} ms, which is computed"
        )
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
        lag=lag,
        k_p=k_p,
        k_i=k_i,
        k_c=math.log(10.0) / response,
        overshoot=figures.limit_overshoot * amperes,
        sink=sink,
        rise=rise,
        fall=fall,
        ovp_response=ovp_response,
        ovp_at_sense=figures.ovp_at == "sense",
        opp_response=OPP_RESPONSE if figures.opp_response is None else figures.opp_response,
        crowbar=0.0 if figures.crowbar is None else 1.0 / figures.crowbar,
        off_sink=figures.off_sink,
    )
    return stage, tuple(assumptions)


def _down(
    figures: OutputFigures, capacitance: float, full_load: float, rise: float, assumptions: list[str]
) -> tuple[float, float, float]:
    """Fall of the reference [V/s], bleeder [Ω] and sink [A] that give the stated fall times back."""
    volts = figures.voltage_max
    sink = figures.sink_current or 0.0

    def time(conductance: float, sunk: float) -> Callable[[float], float]:
        return _travel_time(volts, lambda v: (v * conductance + sunk) / capacitance)

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


FallTime = Callable[[float, float], Callable[[float], float]]
"""(conductance of load and bleeder [S], sunk current [A]) -> slew [V/s] -> 90 to 10 % fall time [s]."""


def _slower_than(stated: float, time: FallTime, slew: float, sink: float, bleeder: float) -> float:
    return stated - time(1.0 / bleeder, sink)(slew)


def _loaded(figures: OutputFigures, time: FallTime, conductance: float, sink: float) -> tuple[float, float]:
    """Fall of the reference [V/s], and the sink [A] that the stated time needs where none is given."""
    stated, amperes, volts = figures.fall_loaded, figures.current_max, figures.voltage_max
    assert stated is not None
    if figures.sink_current is None and time(conductance, 0.0)(math.inf) > stated:
        # Neither load nor bleeder is fast enough, so that the output must sink.
        sink = _bisect(
            lambda sunk: time(conductance, sunk)(math.inf) - 0.9 * stated, 1e-4 * amperes, 1e2 * amperes
        )
    time_at = time(conductance, sink)
    fall = _bisect(lambda slew: time_at(slew) - stated, 0.8 * volts / stated, 100.0 * volts / stated)
    return fall, sink
