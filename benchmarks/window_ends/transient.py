"""Brute force: supplies, lead and load by implicit steps of equal length, and the protections by counting.

It shares nothing with the package: figures are floats of SI units, as a data sheet has them, and the
equations are those of two error amplifiers of which whichever asks for less drives the pass element:

    i_cv = K_p (v_ref - v_o) + x            i_cc = i_limit + z            i_cp = P / v_o
    i = min of the three, no less than what it sinks
    dx/dt = K_i (v_ref - v_sensed) while i_cv is the least and no less than that, else x follows i
    dz/dt = K_c (i_limit - i_out), z at most the overshoot;  C_o dv_o/dt = i - v_o / R_bleeder - i_lead

K_p = 2 ζ ω C, K_i = ω² C with the ω at which the data sheet's load step recovers in 95 % of its time, and
K_c = ln 10 / response of the limit (declared assumptions). A step is as long as `DT`; the lead's current and
the connector's voltage are solved together, backward Euler, so that nothing short rings.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar, cast

import numba
import numpy as np
from numpy.typing import NDArray

DT = 0.5e-6
"""Length of a step [s]."""
NODE = 10e-9
"""Capacitance of the connector itself [F]."""
CEILING = 1.05
"""What an output rises to that no longer sees its voltage, in parts of its rated one."""

RESISTOR, CAPACITOR, CURRENT, MOTOR, LAMP, CELL, CONVERTER, COIL, LEDS = range(9)
CV, CC, CP, OFF = range(4)


Function = TypeVar("Function", bound=Callable[..., Any])


def _compiled(function: Function) -> Function:
    return cast(Function, numba.njit(cache=True)(function))


@dataclass(frozen=True)
class Supply:
    """One output as its data sheet has it, and how far it is off; SI units."""

    volts: float
    amperes: float
    power: float
    rise: float
    recovery: tuple[float, float, float]
    limit_response: float
    capacitance: float
    bleeder: float
    ovp_response: float
    opp_response: float = 1e-3
    damping: float = 1.0
    overshoot: float = 0.25
    sink: float = 0.0


@dataclass(frozen=True)
class Told:
    """What one output is set to, errors included. delay: inf: it regulates. own: weight of its own voltage in
    what it senses (1: it regulates), load: of the voltage at the load.
    """

    limit: float
    ovp: float = math.inf
    delay: float = math.inf
    opp: float = math.inf
    gain: float = 1.0
    offset: float = 0.0


@dataclass(frozen=True)
class Move:
    """From an instant on [s] the reference goes to a voltage [V] at a rate [V/s]; off: the output is off.

    blind: from here on it does not see its voltage any more.
    """

    at: float
    volts: float
    rate: float = math.inf
    blind: bool = False
    off: bool = False


@dataclass(frozen=True)
class Bench:
    """Outputs that are joined, their lead, and what it feeds. loads: (kind, figures)."""

    supplies: Sequence[Supply]
    told: Sequence[Told]
    shares: Sequence[float]
    parallel: bool
    ohms: float
    henries: float
    loads: Sequence[tuple[int, Sequence[float]]]
    moves: Sequence[Move]
    senses: bool = False


@dataclass(frozen=True)
class Course:
    """What came of it. trips: (protection, output, instant [s]) in order.

    in_limit [s]: the longest stretch of each output in its limit; limited: all stretches of one together;
    still: for how long one has been in it at the end. asked: of the pass elements together, less what their
    bleeders take, over time. voltage, terminals, current: greatest at the connector,
    at the terminals, and into the device; given: of the pass elements together. above [s]: time at the
    connector above `level`.
    """

    trips: tuple[tuple[str, int, float], ...]
    in_limit: tuple[float, ...]
    limited: float
    voltage: float
    terminals: float
    current: float
    given: float
    above: float
    still: float
    time: NDArray[np.float64] = field(repr=False)
    at_load: NDArray[np.float64] = field(repr=False)
    at_terminals: NDArray[np.float64] = field(repr=False)
    into: NDArray[np.float64] = field(repr=False)
    asked: NDArray[np.float64] = field(repr=False)


def recovery_bandwidth(supply: Supply) -> float:
    """ω [rad/s] with which a load step is back within its band in 95 % of the stated time: the deviation is
    -ΔI / (C ω) g(ω t), g the step response of (r p + 1) / (r p³ + p² + 2 ζ p + 1), r = 0.1.
    """
    time, band, step = supply.recovery
    poles = np.roots([0.1, 1.0, 2.0 * supply.damping, 1.0])
    slope = 0.3 * poles**2 + 2.0 * poles + 2.0 * supply.damping
    weights = (0.1 * poles + 1.0) / slope
    u = np.arange(0.0, 60.0, 0.01)
    shape = np.abs(np.real((weights[:, None] * np.exp(poles[:, None] * u)).sum(axis=0)))
    later = np.maximum.accumulate(shape[::-1])[::-1]

    def recovers(omega: float) -> float:
        above = np.flatnonzero(later > band * supply.capacitance * omega / step)
        return 0.0 if above.size == 0 else float(u[above[-1]]) / omega

    low, high = 1e-2 / time, 1e3 / time
    for _ in range(60):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if recovers(middle) > 0.95 * time else (low, middle)
    return math.sqrt(low * high)


def reference_rate(supply: Supply) -> float:
    """The fastest that the reference rises [V/s]: 10 to 90 % of full scale in the rated time with full
    load.
    """
    load = max(supply.volts / supply.amperes, supply.volts**2 / supply.power)
    volts = np.linspace(0.1, 0.9, 4001) * supply.volts
    middle = (volts[1:] + volts[:-1]) / 2.0
    spare = (np.minimum(supply.amperes, supply.power / middle) - middle / load) / supply.capacitance

    def takes(rate: float) -> float:
        return float((np.diff(volts) / np.maximum(np.minimum(rate, spare), 1e-9)).sum())

    low, high = 0.8 * supply.volts / supply.rise, 20.0 * supply.volts / supply.rise
    if takes(low) <= supply.rise:
        return low
    if takes(high) >= supply.rise:
        return high
    for _ in range(60):
        middle_rate = math.sqrt(low * high)
        low, high = (middle_rate, high) if takes(middle_rate) > supply.rise else (low, middle_rate)
    return low


def play(bench: Bench, until: float, level: float = math.inf, dt: float = DT) -> Course:
    """Play it from everything at 0 V on, so long [s]. level [V]: above which time is counted."""
    rows = []
    for supply, told, share in zip(bench.supplies, bench.told, bench.shares, strict=True):
        omega = recovery_bandwidth(supply)
        k_p = 2.0 * supply.damping * omega * supply.capacitance
        k_i = omega**2 * supply.capacitance
        rows.append(
            [
                supply.capacitance,
                supply.bleeder,
                k_p,
                k_i,
                0.1 / omega,
                math.log(10.0) / supply.limit_response,
                supply.overshoot * supply.amperes,
                supply.sink,
                supply.power,
                supply.ovp_response,
                supply.opp_response,
                reference_rate(supply),
                supply.volts,
                told.limit,
                told.ovp,
                told.delay,
                told.opp,
                told.gain,
                told.offset,
                share,
            ]
        )
    width = max(len(figures) for _, figures in bench.loads)
    loads = np.zeros((len(bench.loads), width + 1))
    for row, (kind, figures) in zip(loads, bench.loads, strict=True):
        row[0], row[1 : 1 + len(figures)] = kind, figures
    moves = np.array([[m.at, m.volts, m.rate, m.blind, m.off] for m in bench.moves], dtype=float)
    steps = round(until / dt)
    every = max(1, steps // 20_000)
    trace = np.zeros((steps // every + 1, 5))
    stretch, trips = np.zeros((2, len(rows))), np.zeros((8, 3))
    most, count, still = _play(
        np.array(rows),
        bench.parallel,
        bench.senses,
        bench.ohms,
        bench.henries,
        loads,
        moves,
        steps,
        dt,
        level,
        every,
        trace,
        stretch,
        trips,
    )
    names = ("current limit", "OVP", "OPP")
    told_trips = tuple((names[int(row[0])], int(row[1]), float(row[2])) for row in trips[:count])
    voltage, terminals, current, given, above = map(float, most)
    stretches, still_for = tuple(map(float, stretch[0])), float(still.max())
    courses = (trace[:, column] for column in range(5))
    return Course(
        told_trips,
        stretches,
        float(stretch[1].max()),
        voltage,
        terminals,
        current,
        given,
        above,
        still_for,
        *courses,
    )


@_compiled
def _motor(i: float, w: float, v: float, p: NDArray[np.float64], dt: float) -> tuple[float, float]:
    """Winding current and speed after a step: resistance, inductance, torque constant, inertia, dry torque,
    viscous friction.
    """
    current = (i * p[1] + dt * (v - p[2] * w)) / (p[1] + dt * p[0])
    torque, dry = p[2] * current, p[4]
    if w == 0.0 and abs(torque) <= dry:
        return current, 0.0
    sign = 1.0 if w > 0.0 or (w == 0.0 and torque > 0.0) else -1.0
    speed = w + dt * (torque - p[5] * w - dry * sign) / p[3]
    if speed * sign <= 0.0:
        speed = 0.0
    return current, speed


@_compiled
def _leds(v: float, p: NDArray[np.float64]) -> tuple[float, float]:
    """Current of a string [A], and its conductance [S]: count, forward voltage, rated current, series
    resistance, slope, ideality.
    """
    if v <= 0.0:
        return 0.0, 0.0
    m = p[5] * 0.025852
    slope = p[4] if p[4] > 0.0 else 2.0 * m / p[2]
    ohmic = slope - m / p[2]
    saturation = p[2] / math.expm1((p[1] - ohmic * p[2]) / m)
    ohms = p[3] + p[0] * ohmic
    low, high = 0.0, v / ohms
    for _ in range(34):
        i = 0.5 * (low + high)
        if ohms * i + p[0] * m * math.log1p(i / saturation) > v:
            high = i
        else:
            low = i
    return low, 1.0 / (ohms + p[0] * m / (low + saturation))


@_compiled
def _drawn(
    kind: int, v: float, t: float, p: NDArray[np.float64], s: NDArray[np.float64], dt: float
) -> tuple[float, float]:
    """Current of a load at a voltage [A], and its conductance there [S]."""
    if kind == RESISTOR:
        return v / p[0], 1.0 / p[0]
    if kind == CAPACITOR:
        ohms = p[1] + dt / p[0]  # backward Euler: with what it takes up in the step
        return (v - s[0]) / ohms, 1.0 / ohms
    if kind == CURRENT:
        if v <= 0.0:
            return 0.0, 0.0
        return (p[0], 0.0) if v >= p[1] else (p[0] * v / p[1], p[0] / p[1])
    if kind in (MOTOR, COIL):
        below = -v - 0.7
        if kind == COIL and below > 0.0:
            return s[0] - below / 0.05, 1.0 / 0.05
        return s[0], 0.0
    if kind == LAMP:
        ohms = p[1] * (s[0] / 293.15) ** 1.215
        return v / ohms, 1.0 / ohms
    if kind == CELL:
        empty, full = p[2], p[3]
        charge = s[0] / p[1]
        over = v - (empty + (full - empty) * charge) - max(0.0, p[4])
        if p[4] >= 0.0 and over < 0.0:
            return 0.0, 0.0
        return over / p[0], 1.0 / p[0]
    if kind == CONVERTER:
        if s[0] == 0.0:
            return 0.0, 0.0
        soft = min(1.0, (t - s[1]) / p[4]) if p[4] > 0.0 else 1.0
        return soft * p[0] / p[1] / max(v, 0.5 * p[3]), 0.0
    return _leds(v, p)


@_compiled
def _moved(kind: int, v: float, t: float, p: NDArray[np.float64], s: NDArray[np.float64], dt: float) -> None:
    """A load's own states after a step."""
    if kind == CAPACITOR:
        s[0] += dt / p[0] * _drawn(kind, v, t, p, s, dt)[0]
    elif kind == MOTOR:
        s[0], s[1] = _motor(s[0], s[1], v, p, dt)
    elif kind == COIL:
        s[0] = (s[0] * p[1] + dt * v) / (p[1] + dt * p[0])
    elif kind == LAMP:
        ohms = p[1] * (s[0] / 293.15) ** 1.215
        radiated = p[2] * (s[0] ** 4 - 293.15**4) / (p[3] ** 4 - 293.15**4)
        s[0] += dt * (v * v / ohms - radiated) / p[4]
    elif kind == CELL:
        s[0] += dt * _drawn(kind, v, t, p, s, dt)[0]
    elif kind == CONVERTER:
        if s[0] == 0.0 and v >= p[2] and t >= s[1] + 1e-3:
            s[0], s[1] = 1.0, t
        elif s[0] == 1.0 and v <= p[3]:
            s[0], s[1] = 0.0, t


# One loop: what it does in a step stands in one piece.
@_compiled
def _play(
    rows: NDArray[np.float64],
    parallel: bool,
    senses: bool,
    ohms: float,
    henries: float,
    loads: NDArray[np.float64],
    moves: NDArray[np.float64],
    steps: int,
    dt: float,
    level: float,
    every: int,
    trace: NDArray[np.float64],
    stretch: NDArray[np.float64],
    trips: NDArray[np.float64],
) -> tuple[NDArray[np.float64], int, NDArray[np.float64]]:
    outputs = rows.shape[0]
    v, i, x, z = np.zeros(outputs), np.zeros(outputs), np.zeros(outputs), rows[:, 6].copy()
    on, blind = np.ones(outputs), np.zeros(outputs)
    ref, mode = np.zeros(outputs), np.zeros(outputs, dtype=np.int64)
    ovp_for, opp_for = np.zeros(outputs), np.zeros(outputs)
    cc_for, left = np.zeros(outputs), np.zeros(outputs)
    states = np.zeros((loads.shape[0], 2))
    for m in range(loads.shape[0]):
        kind, p = int(loads[m, 0]), loads[m, 1:]
        if kind == LAMP:
            states[m, 0] = 293.15
        elif kind == CELL:
            states[m, 0] = p[1] * p[5]
        elif kind == CONVERTER:
            states[m, 1] = -1.0
    i_l, v_c, count, active = 0.0, 0.0, 0, -1
    most = np.zeros(5)  # at the connector, at the terminals, into the device, given, time above
    for n in range(steps + 1):
        t = n * dt
        while active + 1 < moves.shape[0] and moves[active + 1, 0] <= t:
            active += 1
            if moves[active, 3] > 0.0:
                blind[:] = 1.0
            if moves[active, 4] > 0.0:
                on[:] = 0.0
        source = v[0] if parallel else v.sum()
        lost = (v_c - source) / (1 if parallel else outputs)
        given, joined = 0.0, 0.0
        for k in range(outputs):
            r = rows[k]
            goal = 0.0
            if active >= 0:
                goal = moves[active, 1] * r[19] * r[17] + r[18] if moves[active, 1] > 0.0 else 0.0
                rate = min(moves[active, 2] * r[19] * (r[17] if moves[active, 1] > 0.0 else 1.0), r[11])
                ref[k] = min(goal, ref[k] + rate * dt) if goal > ref[k] else max(goal, ref[k] - rate * dt)
            own = v[k]
            error = ref[k] - own
            slow = ref[k] - (own + lost if senses else own)
            if blind[k] > 0.0:  # it asks for all it can, up to its ceiling
                weight = ref[k] / (0.9999 * CEILING * r[12])
                error = slow = ref[k] - weight * own
            slow = min(slow, CEILING * r[12] - own)
            error = min(error, CEILING * r[12] - own) if blind[k] > 0.0 else error
            asked, mode[k] = r[2] * error + x[k], CV
            if r[13] + z[k] < asked:
                asked, mode[k] = r[13] + z[k], CC
            if own > 0.0 and r[8] < asked * own:
                asked, mode[k] = r[8] / own, CP
            floor = asked < -r[7]  # it cannot pull its voltage down, and its integrator does not wind up
            asked = max(asked, -r[7])
            if on[k] == 0.0:
                asked, mode[k] = 0.0, OFF
            if mode[k] == CV and not floor:
                x[k] += dt * r[3] * slow
            else:
                x[k] += min(1.0, dt * r[3] / r[2]) * (asked - x[k])
            i[k] = (i[k] + dt / r[4] * asked) / (1.0 + dt / r[4])
            leak = own / r[1]
            z[k] = min(z[k] + dt * r[5] * (r[13] - (i[k] - leak)), r[6] + leak)
            given += i[k] - leak
            joined += i[k] - leak
        # Lead and connector together, backward Euler, the loads along their slope.
        drawn, slope = 0.0, 0.0
        for m in range(loads.shape[0]):
            amperes, siemens = _drawn(int(loads[m, 0]), v_c, t, loads[m, 1:], states[m], dt)
            drawn += amperes
            slope += siemens
        a, b = henries / dt + ohms, NODE / dt + slope
        i_l = (source + henries / dt * i_l - (NODE / dt * v_c - drawn + slope * v_c) / b) / (a + 1.0 / b)
        v_c = (NODE / dt * v_c + i_l - drawn + slope * v_c) / b
        into = 0.0
        for m in range(loads.shape[0]):
            into += _drawn(int(loads[m, 0]), v_c, t, loads[m, 1:], states[m], dt)[0]
            _moved(int(loads[m, 0]), v_c, t, loads[m, 1:], states[m], dt)
        whole = rows[:, 0].sum()
        for k in range(outputs):
            own = v[k]
            v[k] = own + dt * (
                (joined - i_l) / whole if parallel else (i[k] - own / rows[k, 1] - i_l) / rows[k, 0]
            )
            v[k] = max(v[k], -0.7)
            r = rows[k]
            if on[k] == 0.0:
                continue
            # What leaves it for less than the lag of the pass element has not left it.
            left[k] = 0.0 if mode[k] == CC else left[k] + dt
            stays = mode[k] == CC or (cc_for[k] > 0.0 and left[k] <= r[4])
            cc_for[k] = cc_for[k] + dt if stays else 0.0
            stretch[0, k] = max(stretch[0, k], cc_for[k])
            stretch[1, k] += dt if mode[k] == CC else 0.0
            ovp_for[k] = ovp_for[k] + dt if v[k] > r[14] else 0.0
            through = i_l if not parallel else i_l * i[k] / max(i.sum(), 1e-12)
            opp_for[k] = opp_for[k] + dt if v[k] * through > r[16] else 0.0
            trip = -1
            if cc_for[k] > r[15]:
                trip = 0
            elif ovp_for[k] > r[9]:
                trip = 1
            elif opp_for[k] > r[10]:
                trip = 2
            if trip >= 0:
                on[k] = 0.0
                if count < trips.shape[0]:
                    trips[count, 0], trips[count, 1], trips[count, 2] = trip, k, t
                    count += 1
        source = v[0] if parallel else v.sum()
        most[0], most[1] = max(most[0], v_c), max(most[1], source)
        most[2], most[3] = max(most[2], into), max(most[3], given)
        if v_c > level:
            most[4] += dt
        if n % every == 0 and n // every < trace.shape[0]:
            at = n // every
            trace[at, 0], trace[at, 1], trace[at, 2], trace[at, 3] = t, v_c, source, into
            trace[at, 4] = given
    return most, count, cc_for
