"""Energy balance of random circuits and settings from the whole allowed range, summed up outside the solver.

delivered by the pass elements = heat (bleeders, diodes, lead, fuse, loads) + change of what is stored
(capacitors, inductances, loads) + what loads deliver. Nothing here uses the solver's equations: energies
come from the recorded states and currents.
"""

from __future__ import annotations

import math

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.physics.loads.driven import load_of, p_of

from railwright.physics.circuit import NODE_CAPACITANCE, Branch, Circuit, LeadCircuit, Load
from railwright.physics.loads import KINDS
from railwright.physics.output_stage import OutputFigures, derive_output_stage
from railwright.physics.simulation import Simulation


def between(low: float, high: float) -> st.SearchStrategy[float]:
    """Evenly spread in logarithms."""
    return st.floats(math.log(low), math.log(high)).map(math.exp)


def parts(most: float) -> st.SearchStrategy[float]:
    """None, or a part up to `most`; a document takes no amount that is nearly none."""
    return st.just(0.0) | st.floats(1e-6, most)


@st.composite
def figures(draw: st.DrawFn) -> OutputFigures:
    volts, amperes = draw(between(5.0, 100.0)), draw(between(0.1, 50.0))
    return OutputFigures(
        voltage_max=volts,
        current_max=amperes,
        power=draw(st.none() | between(0.3, 1.0).map(lambda part: part * volts * amperes)),
        rise=draw(between(1e-3, 0.1)),
        recovery_time=draw(between(20e-6, 1e-3)),
        limit_response=draw(between(100e-6, 20e-3)),
        output_capacitance=draw(between(10e-6, 2e-3)),
        bleeder=draw(between(100.0, 1e5)),
        sink_current=draw(st.just(0.0) | between(0.01, 1.0).map(lambda part: part * amperes)),
        damping=draw(st.floats(0.7, 1.4)),
        limit_overshoot=draw(st.floats(0.0, 0.5)),
    )


def motor(draw: st.DrawFn, volts: float, stall: float) -> dict[str, str]:
    """It stalls at a current, turns at its nominal voltage with 50 to 1000 rad/s, and drives something."""
    constant = volts / draw(between(50.0, 1000.0))
    torque = constant * stall
    time_constant = draw(between(5e-3, 0.5))  # R J / k², from standstill to its speed
    return {
        "resistance": f"{volts / stall} ohm",
        "torque_constant": f"{constant} N*m/A",
        "inertia": f"{time_constant * constant**2 * stall / volts} kg*m^2",
        "inductance": f"{draw(between(1e-4, 5e-3)) * volts / stall} H",
        "friction": f"{draw(parts(0.2)) * torque} N*m",
        "viscous_friction": f"{draw(parts(0.1)) * torque * constant / volts} N*m*s",
        "load_torque": f"{draw(parts(0.5)) * torque} N*m",
    }


def coil(draw: st.DrawFn, volts: float, steady: float) -> dict[str, str]:
    """It carries a steady current at the nominal voltage, after 0.1 to 50 ms."""
    ohms = volts / steady
    return {
        "resistance": f"{ohms} ohm",
        "inductance": f"{draw(between(1e-4, 50e-3)) * ohms} H",
        "diode_drop": f"{draw(st.floats(0.3, 1.0))} V",
        "diode_resistance": f"{0.01 * ohms} ohm",
    }


def lamp(draw: st.DrawFn, volts: float, hot: float) -> dict[str, str]:
    """Rated at the nominal voltage; a tenth to a fifteenth of its resistance when cold."""
    return {
        "rated_voltage": f"{volts} V",
        "rated_current": f"{hot} A",
        "cold_resistance": f"{volts / hot / draw(st.floats(10.0, 15.0))} ohm",
        "warm_up": f"{draw(between(10e-3, 0.3))} s",
    }


def battery(draw: st.DrawFn, volts: float, charging: float) -> dict[str, str]:
    """Charged, or feeding back, behind a diode or not."""
    own = draw(st.floats(0.3, 0.9)) * volts
    given = {
        "open_circuit_voltage": f"{own} V",
        "series_resistance": f"{(volts - own) / charging} ohm",
        "capacity": f"{draw(between(10.0, 1000.0)) * charging} C",
        "state_of_charge": "50 %",
    }
    return given | ({"diode_drop": f"{draw(st.floats(0.2, 1.0))} V"} if draw(st.booleans()) else {})


def led_string(draw: st.DrawFn, volts: float, rated: float) -> dict[str, str]:
    """LEDs that take nine tenths of the nominal voltage with their resistor."""
    forward = draw(st.floats(0.3, 0.8)) * volts
    count = math.ceil(forward / 5.0)
    return {
        "count": f"{count}",
        "forward_voltage": f"{forward / count} V",
        "rated_current": f"{rated} A",
        "series_resistance": f"{(0.9 * volts - forward) / rated} ohm",
    }


MADE = {"dc_motor": motor, "coil": coil, "filament_lamp": lamp, "battery": battery, "led_string": led_string}
"""Fields of a load, as a document gives them, for a nominal voltage [V] and a current [A]."""


@st.composite
def loads(draw: st.DrawFn, volts: float, amperes: float) -> tuple[Load, ...]:
    """Parts that together draw up to one and a half times the rated current.

    A converter comes with the input capacitor that it needs: without one a constant power against the lead's
    inductance oscillates at a megahertz, in the circuit as in its rehearsal, until the solver gives up.
    """
    ohms = volts / amperes
    parts = []
    if draw(st.integers(0, 9)):  # one in ten has none
        least = min(10e-3, 100e-6 * amperes)
        values = {"capacitance": draw(between(least, 20e-3)), "esr": draw(between(10e-3, 0.5))}
        parts.append(Load("capacitor", values))
    kinds = ["resistor", "constant_current", "converter", *MADE]
    for kind in draw(st.lists(st.sampled_from(kinds), max_size=3)):
        share = draw(st.floats(0.01, 0.5))
        if kind in MADE:
            parts.append(load_of(kind, **MADE[kind](draw, volts, share * amperes)))
            continue
        if kind == "converter" and not parts:
            continue
        if kind == "resistor":
            parts.append(Load(kind, {"resistance": ohms / share}))
        elif kind == "constant_current":
            parts.append(
                Load(kind, {"current": share * amperes, "compliance": draw(st.floats(0.05, 0.9)) * volts})
            )
        else:
            starts = draw(st.floats(0.2, 0.8)) * volts
            values = dict.fromkeys(KINDS[kind].parameters, math.inf)
            values |= {
                "output_power": share * volts * amperes * 0.8,
                "efficiency": draw(st.floats(0.5, 1.0)),
                "starts_at": starts,
                "stops_at": starts * draw(st.floats(0.5, 0.97)),
                "soft_start": draw(st.just(0.0) | between(1e-4, 50e-3)),
            }
            parts.append(Load(kind, values))
    return tuple(parts)


@st.composite
def cases(draw: st.DrawFn) -> tuple[Branch, dict[str, float], list[tuple[float, float, float]]]:
    """A branch, its limits, and some set points: (time, voltage, duration of the line)."""
    own = draw(figures())
    stage, _ = derive_output_stage(own)
    count = draw(st.integers(1, 2))
    arrangement = "single" if count == 1 else draw(st.sampled_from(["series", "parallel"]))
    volts = own.voltage_max * (count if arrangement == "series" else 1)
    lead = LeadCircuit(
        draw(between(1e-3, 1.0)),
        draw(between(0.1e-6, 10e-6)),
        diode=draw(st.none() | st.floats(0.2, 1.0)),
        fuse=draw(st.just(()) | st.just(((own.current_max / 3.0, 1.0), (own.current_max, 0.02)))),
    )
    parts = draw(loads(volts, own.current_max * (count if arrangement == "parallel" else 1)))
    branch = Branch(
        "main", tuple(f"out{n}" for n in range(count)), (stage,) * count, lead, parts, arrangement,
        draw(st.sampled_from(["terminals", "load"])),
    )  # fmt: skip
    limits = {
        "current_limit": draw(st.floats(0.02, 1.0)) * own.current_max,
        "ovp": draw(st.floats(0.3, 1.2)) * own.voltage_max,
    }
    moves = [
        (
            0.02 * n,
            draw(st.integers(0, 1000)) / 1000 * own.voltage_max,
            draw(st.just(0.0) | between(1e-4, 20e-3)),
        )
        for n in range(draw(st.integers(1, 4)))
    ]
    return branch, limits, moves


def product(time: np.ndarray, a: np.ndarray, b: np.ndarray) -> float:
    """∫ a b dt where both run in straight lines between the instants: exact, unlike a trapezoid of a b."""
    sums = 2.0 * a[:-1] * b[:-1] + a[:-1] * b[1:] + a[1:] * b[:-1] + 2.0 * a[1:] * b[1:]
    return float(np.diff(time) @ sums / 6.0)


def energy_gap(branch: Branch, samples) -> tuple[float, float]:
    """What is missing in the balance [J], and all the energy that moved [J]."""
    time, y, n = samples.time, samples.states, len(branch.outputs)
    connector = branch.states.index(("main", "connector voltage"))
    i_l, v_c = y[:, connector - 1], y[:, connector]
    terminals = y[:, 3 * n : connector - 1]
    if branch.arrangement == "parallel":
        terminals = np.repeat(terminals, n, axis=1)

    def total(a: np.ndarray, b: np.ndarray) -> float:
        return product(time, a, b)

    delivered = heat = stored = 0.0
    for j, stage in enumerate(branch.stages):
        own = terminals[:, j]
        delivered += total(own, y[:, 3 * j])
        below = np.maximum(0.0, -own - stage.diode_drop) / stage.diode_resistance
        heat += total(own, own) / stage.bleeder - total(own, below)
        stored += 0.5 * stage.capacitance * (own[-1] ** 2 - own[0] ** 2)
    source = terminals.sum(axis=1) if branch.arrangement == "series" else terminals[:, 0]
    stored += 0.5 * branch.lead.inductance * (i_l[-1] ** 2 - i_l[0] ** 2)
    stored += 0.5 * NODE_CAPACITANCE * (v_c[-1] ** 2 - v_c[0] ** 2)
    # What the lead takes in and does not store is heat in it, its diode or its fuse.
    lead_heat = total(source - v_c, i_l) - 0.5 * branch.lead.inductance * (i_l[-1] ** 2 - i_l[0] ** 2)
    heat += lead_heat
    used = fed = 0.0
    for m, _load in enumerate(branch.loads):
        used += total(v_c, samples.load_currents[:, m])
        fed += total(np.abs(v_c), np.maximum(0.0, -samples.load_currents[:, m]))  # batteries, turning motors
    gap = delivered - heat - stored - used
    moved = sum(total(np.abs(terminals[:, j]), np.abs(y[:, 3 * j])) for j in range(n))
    rated = sum(stage.voltage_max * stage.current_max for stage in branch.stages)
    return gap, moved + fed + 1e-6 * rated * (time[-1] - time[0])


def load_gap(branch: Branch, samples, m: int) -> tuple[float, float]:
    """What a load took in less heat, storage and work [J], and all that went in and out."""
    load, kind = branch.loads[m], KINDS[branch.loads[m].kind]
    at = branch.states.index(("main", "connector voltage")) + 1 + bool(branch.lead.fuse)
    at += sum(len(KINDS[other.kind].states) for other in branch.loads[:m])
    own = samples.states[:, at : at + len(kind.states)]
    time, v, current, p = samples.time, samples.voltage, samples.load_currents[:, m], p_of(load)
    match load.kind:
        case "capacitor" | "resistor":  # one resistance, their last figure
            across = v - own[:, 0] if own.shape[1] else v
            away = product(time, across, across) / p[-1]
        case "dc_motor":  # winding, friction, and the work at the shaft
            turning = np.abs(own[:, 1])
            away = p[0] * product(time, own[:, 0], own[:, 0]) + p[5] * product(time, turning, turning)
            away += (p[4] + p[6]) * float(np.trapezoid(turning, time))
        case "coil":  # winding, and the diode with the rest of the current
            away = p[0] * product(time, own[:, 0], own[:, 0]) - product(time, v, own[:, 0] - current)
        case "filament_lamp":
            away = float(np.trapezoid([kind.heat(0.0, 0.0, p, row, ()) for row in own], time))
        case "battery":
            away = p[1] * product(time, current, current)
            away += max(0.0, p[4]) * float(np.trapezoid(current, time))
        case _:
            return 0.0, 0.0
    stored = kind.equation("stored")
    taken = product(time, v, current)
    change = stored(p, own[-1]) - stored(p, own[0])
    # Rows are right to some 1e-6 of full scale in voltage and in current: a little of all that the outputs
    # could deliver counts along.
    rated = sum(stage.voltage_max * stage.current_max for stage in branch.stages)
    least = 1e-5 * rated * (time[-1] - time[0])
    return taken - change - away, product(time, np.abs(v), np.abs(current)) + least


def test_energy_balance_of_random_circuits():
    played = 0

    @settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
    @given(cases())
    def balances(case):
        nonlocal played
        branch, limits, moves = case
        sim = Simulation(Circuit((branch,)), relative=1e-7, fine=2e-6, everything=True)
        for name in branch.outputs:
            sim.set(name, on=True, **limits)
            for time, volts, over in moves:
                sim.set(name, at=time, line=(volts, over))
        samples = sim.advance(0.1).samples["main"]
        assert np.isfinite(samples.states).all()
        gap, moved = energy_gap(branch, samples)
        # What rows leave of moves that move next to nothing: they are right to some 1e-6 of full scale in
        # voltage and in current, and a loop holds on for 1e-7 of the rated current. An output that rests for
        # 0.1 s at part of its voltage so leaves up to 2e-7 of what it could deliver (5,000 drawn circuits).
        rated = sum(stage.voltage_max * stage.current_max for stage in branch.stages)
        assert abs(gap) < 1e-3 * moved + 1e-8 + 2e-7 * rated * 0.1
        for m, load in enumerate(branch.loads):
            missing, size = load_gap(branch, samples, m)
            assert abs(missing) <= 1e-3 * size + 1e-4 * moved, load.kind
        played += 1

    balances()
    assert played >= 100  # a strategy that finds none would pass in silence
