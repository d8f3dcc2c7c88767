"""The rehearsal's physics against closed forms and against a general-purpose ODE solver."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from tests.physics.bench import (
    STAGE,
    capacitor,
    constant_current,
    converter,
    keep_regions,
    pair,
    resistor,
    single,
)

from railwright.compilation import with_way_in
from railwright.physics import equations
from railwright.physics.circuit import Branch, Circuit, LeadCircuit
from railwright.physics.simulation import Simulation
from railwright.traces import Mode

right_hand_side, jacobian_of = with_way_in(equations.rhs), with_way_in(equations.jacobian)
positions = with_way_in(equations.positions)

# An output without its own peculiarities, so that closed forms hold: no bleeder, a small output capacitor,
# fast loops, and current in both directions.
IDEAL = STAGE._replace(
    capacitance=0.2e-6,
    bleeder=1e12,
    k_p=2.0 * 1e7 * 0.2e-6,
    k_i=1e7**2 * 0.2e-6,
    lag=1e-8,
    sink=100.0,
    k_c=1e5,
    overshoot=0.0,
    rise=1e9,
    fall=1e9,
    power=math.inf,
)


# Ohm's law (common practice, no source): 6 V limited to 0.4 A into 12 Ω is 4.8 V in CC; limited to more
# than 0.5 A, CV.
@pytest.mark.parametrize(
    ("limit", "volts", "mode"), [(0.4, 4.8, Mode.CC), (0.51, 6.0, Mode.CV), (2.0, 6.0, Mode.CV)]
)
def test_cv_and_cc_into_a_resistor(limit, volts, mode):
    sim = Simulation(Circuit((single(resistor(12.0), resistance=0.0),)))
    sim.set("left.1", voltage=6.0, current_limit=limit, on=True)
    samples = sim.advance(0.5).samples["main"]
    assert samples.voltage[-1] == pytest.approx(volts, abs=1e-5)
    assert samples.current[-1] == pytest.approx(volts / 12.0, abs=1e-6)
    assert samples.mode[-1] == mode


def test_series_adds_voltage_and_parallel_adds_current():
    # Common practice, no source.
    for arrangement, limit, volts, amperes in (("series", 2.5, 24.0, 1.0), ("parallel", 0.5, 10.0, 1.0)):
        sim = Simulation(pair(arrangement, resistor(volts / amperes - 0.01)))
        for name in ("left.1", "left.2"):
            sim.set(name, voltage=12.0, current_limit=limit, on=True)
        samples = sim.advance(0.5).samples["main"]
        assert samples.terminal_voltage[-1] == pytest.approx(volts, rel=1e-4)
        assert samples.current[-1] == pytest.approx(amperes, rel=1e-4)


def test_charging_a_capacitor_at_a_limit_takes_cv_over_i():
    # t = C V / I, closed form; both capacitors are charged: the load's, and the output's own.
    sim = Simulation(Circuit((single(capacitor(10e-3, esr=1e-3), stage=IDEAL, resistance=1e-3),)))
    sim.set("left.1", voltage=10.0, current_limit=0.5, on=True)
    samples = sim.advance(0.5).samples["main"]
    charged = float(np.interp(9.9, samples.voltage[:-5], samples.time[:-5]))
    assert charged == pytest.approx(10e-3 * (9.9 - 0.5 * 1e-3) / 0.5, rel=1e-4)


def test_after_leaving_the_limit_the_rest_is_the_usual_exponential():
    # Closed form: the resistor carries I until the capacitor has V - I R; then V - v decays with R C.
    farads, ohms = 1e-3, 10.0
    sim = Simulation(Circuit((single(capacitor(farads, esr=1e-3), stage=IDEAL, resistance=ohms - 1e-3),)))
    sim.set("left.1", voltage=10.0, current_limit=0.4, on=True)
    advance = sim.advance(0.1)
    samples = advance.samples["main"]
    leaves = [e.time for e in advance.events if e.what == "enters CV"][-1]
    assert leaves == pytest.approx(farads * (10.0 - 0.4 * ohms) / 0.4, rel=1e-3)
    after = samples.time > leaves + 1e-4
    expected = 0.4 * np.exp(-(samples.time[after] - leaves) / (ohms * farads))
    assert np.abs(samples.current[after] - expected).max() < 1e-4


def test_a_ramp_into_a_capacitor_draws_c_dv_dt():
    sim = Simulation(Circuit((single(capacitor(1e-3), resistance=0.07),)))  # I = C dV/dt, closed form
    sim.set("left.1", line=(12.0, 0.02), on=True)
    samples = sim.advance(0.019).samples["main"]
    assert samples.current[-1] == pytest.approx(1e-3 * 600.0, rel=1e-4)


@pytest.mark.parametrize(("power", "ohms"), [(3.6, 0.5), (6.0, 2.0), (10.0, 3.0)])
def test_constant_power_through_a_resistance(power, ohms):
    # Closed form: V = (Vs + sqrt(Vs² - 4 P R)) / 2.
    sim = Simulation(
        Circuit(
            (
                single(
                    capacitor(470e-6), converter(power=power * 0.86, starts=8.0, stops=4.0), resistance=ohms
                ),
            )
        )
    )
    sim.set("left.1", voltage=12.0, on=True)
    samples = sim.advance(1.0).samples["main"]
    assert samples.voltage[-1] == pytest.approx(
        (12.0 + math.sqrt(144.0 - 4.0 * power * ohms)) / 2.0, rel=1e-6
    )


def test_more_power_than_a_resistance_passes_has_no_operating_point():
    # Closed form: no solution for P > Vs² / 4R, here 36 W at 1 Ω; the converter falls to its stopping
    # voltage.
    sim = Simulation(
        Circuit((single(capacitor(470e-6), converter(power=40.0, starts=8.0, stops=4.0), resistance=1.0),))
    )
    sim.set("left.1", voltage=12.0, on=True)
    events = sim.advance(1.0).events
    assert sum(event.what == "stops" for event in events) > 5


def test_rc_reaches_63_percent_after_one_time_constant():
    # 1 - 1/e at t = R C, closed form.
    sim = Simulation(
        Circuit((single(capacitor(100e-6, esr=1e-3), stage=IDEAL, resistance=100.0),)), fine=1e-6
    )
    sim.set("left.1", voltage=10.0, on=True)
    samples = sim.advance(0.05).samples["main"]
    assert float(np.interp(0.01, samples.time, samples.voltage)) == pytest.approx(
        10.0 * (1.0 - math.exp(-1.0)), rel=3e-4
    )


@pytest.mark.parametrize("damping", [0.2, 0.4, 0.7])
def test_rlc_overshoot(damping):
    # Overshoot of a step exp(-π ζ / sqrt(1 - ζ²)), closed form.
    henries, farads = 1e-3, 10e-6
    ohms = 2.0 * damping * math.sqrt(henries / farads)
    branch = Branch(
        "main", ("left.1",), (IDEAL,), LeadCircuit(ohms - 1e-3, henries), (capacitor(farads, esr=1e-3),)
    )
    sim = Simulation(Circuit((branch,)))
    sim.set("left.1", voltage=10.0, on=True)
    samples = sim.advance(0.01).samples["main"]
    expected = math.exp(-math.pi * damping / math.sqrt(1.0 - damping**2))
    assert samples.voltage.max() / 10.0 - 1.0 == pytest.approx(expected, abs=3e-3)


@pytest.mark.parametrize("ohms", [1.0, 10.0, 100.0])
def test_charging_dissipates_half_c_v_squared_whatever_the_resistance(ohms):
    # From a stiff voltage step the resistor takes ½ C V² whatever R, closed form.
    farads = 100e-6
    stage = IDEAL._replace(current_max=100.0)
    branch = Branch("main", ("left.1",), (stage,), LeadCircuit(ohms, 1e-9), (capacitor(farads, esr=1e-3),))
    sim = Simulation(Circuit((branch,)), fine=1e-6)
    sim.set("left.1", voltage=10.0, current_limit=100.0, on=True)
    samples = sim.advance(10.0 * ohms * farads + 1e-3).samples["main"]
    heat = float(np.trapezoid((ohms + 1e-3) * samples.current**2, samples.time))
    assert heat == pytest.approx(0.5 * farads * 100.0, rel=5e-3)


def test_charging_at_a_current_limit_dissipates_less():
    # At a limit I the resistor takes I² R t, closed form: less than ½ C V² where I is small.
    sim = Simulation(Circuit((single(capacitor(1e-3, esr=1e-3), stage=IDEAL, resistance=1.0),)), fine=1e-6)
    sim.set("left.1", voltage=10.0, current_limit=0.2, on=True)
    samples = sim.advance(0.049).samples["main"]
    heat = float(np.trapezoid(1.0 * samples.current**2, samples.time))
    assert heat == pytest.approx(0.2**2 * 1.0 * 0.049, rel=1e-3)
    assert heat < 0.1 * 0.5 * 1e-3 * 100.0


def reference_solution(circuit, actions, corners, end):
    """The same equations through scipy's Radau at tight tolerance, piece by piece between known events."""
    sim = Simulation(circuit)
    actions(sim)
    sim.advance(0.0)
    player = next(iter(sim._players.values()))
    system, y, t = player.system, player.y.copy(), 0.0

    def rhs(time, state):
        dy = np.zeros_like(state)
        keep_regions(time, state, system)
        right_hand_side(time, np.ascontiguousarray(state), dy, system)
        return dy

    def jacobian(time, state):
        out, slope = np.zeros((state.size, state.size)), np.zeros_like(state)
        keep_regions(time, state, system)
        jacobian_of(time, np.ascontiguousarray(state), out, slope, system)
        return out

    times, states = [], []
    for corner, change in [*corners, (end, None)]:
        solved = solve_ivp(rhs, (t, corner), y, method="Radau", jac=jacobian, rtol=1e-10, atol=1e-10)
        assert solved.success
        times.append(solved.t)
        states.append(solved.y)
        t, y = corner, solved.y[:, -1]
        if change:
            change(system)
    return np.concatenate(times), np.concatenate(states, axis=1), player


def compare(circuit, actions, corners, end):
    """Largest error of connector voltage and lead current against the reference, of full scale."""
    times, states, player = reference_solution(circuit, actions, corners, end)
    sim = Simulation(circuit, relative=1e-6, fine=1e-5)
    actions(sim)
    samples = sim.advance(end).samples["main"]
    outputs = len(player.branch.outputs)
    _, _, lead, connector = positions(outputs, player.system.branch)
    volts = np.abs(np.interp(times, samples.time, samples.voltage) - states[connector]).max()
    amperes = np.abs(np.interp(times, samples.time, samples.current) - states[lead]).max()
    return volts / 36.0, amperes / 2.5


def test_cc_start_against_scipy():
    # scipy.integrate.solve_ivp, Radau, rtol 1e-10, on the same equations. Bar: 0.1 % of full scale.
    circuit = Circuit((single(capacitor(1e-3), resistor(40.0), resistance=0.07, sense="load"),))

    def actions(sim):
        sim.set("left.1", rise=2000.0, current_limit=1.0)
        sim.set("left.1", on=True, voltage=12.0)

    volts, amperes = compare(circuit, actions, [(6e-3, None)], 0.03)
    assert volts < 1e-4
    assert amperes < 2e-4


def test_converter_start_against_scipy():
    # As above; the converter's start is at the time that our own event search found, itself checked by the
    # threshold.
    circuit = Circuit((single(capacitor(1e-3), converter(), resistance=0.07, sense="load"),))

    def actions(sim):
        sim.set("left.1", rise=2000.0, current_limit=1.0)
        sim.set("left.1", on=True, voltage=12.0)

    sim = Simulation(circuit, relative=1e-8)
    actions(sim)
    start = next(event.time for event in sim.advance(0.05).events if event.what == "starts")

    def begin(system):
        system.flags[:] = (1.0, start, 1.0)

    def finish(system):
        system.flags[2] = 0.0

    corners = [(6e-3, None), (start, begin), (start + 8e-3, finish)]
    times, states, _ = reference_solution(circuit, actions, corners, 0.05)
    at_start = states[5][np.searchsorted(times, start)]
    assert at_start == pytest.approx(8.4, abs=1e-6)
    volts, amperes = compare(circuit, actions, corners, 0.05)
    assert volts < 1e-4
    assert amperes < 2e-4


def test_parallel_pair_against_scipy():
    # As above.
    circuit = pair("parallel", capacitor(470e-6), constant_current(2.2, 2.0))

    def actions(sim):
        sim.set("left.1", voltage=10.02, current_limit=1.5, on=True)
        sim.set("left.2", voltage=10.0, current_limit=2.0, on=True)

    volts, amperes = compare(circuit, actions, [(10.0 / STAGE.rise, None), (10.02 / STAGE.rise, None)], 0.02)
    assert volts < 1e-4
    assert amperes < 2e-4


def test_series_pair_with_a_reverse_diode_against_scipy():
    # As above; the idle neighbour's diode conducts.
    circuit = pair("series", capacitor(470e-6), resistor(20.0))

    def actions(sim):
        sim.set("left.1", voltage=12.0, on=True)

    volts, amperes = compare(circuit, actions, [(12.0 / STAGE.rise, None)], 0.02)
    assert volts < 1e-4
    assert amperes < 2e-4
