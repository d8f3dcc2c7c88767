"""DC motor: closed forms at the ends, own equations between, sticking without chatter, and what it gives."""

from __future__ import annotations

import numpy as np
import pytest
from tests.physics.loads.driven import at_voltage, bench, load_of, p_of
from tests.physics.loads.driven import run as play

from railwright.physics.loads import dc_motor

R, L, K, J, TORQUE, B, LOAD = 0.8, 1.5e-3, 0.03, 4e-5, 3e-3, 2e-6, 0.02
MOTOR = {
    "resistance": "0.8 ohm",
    "inductance": "1.5 mH",
    "torque_constant": "30 mN*m/A",
    "inertia": "400 g*cm2",
    "friction": "3 mN*m",
    "viscous_friction": "2 uN*m*s",
    "load_torque": "20 mN*m",
}
FREE = {key: MOTOR[key] for key in ("resistance", "inductance", "torque_constant", "inertia")}


def rhs(t, v, y):
    """Own equations, with a sign that is smeared over a very small speed."""
    dry = (TORQUE + LOAD) * np.tanh(y[1] / 1e-4)
    return [(v - R * y[0] - K * y[1]) / L, (K * y[0] - B * y[1] - dry) / J]


@pytest.mark.parametrize("volts", [12.0, -12.0, 3.0])
def test_its_course_is_that_of_own_equations(volts):
    run = at_voltage(load_of("dc_motor", **MOTOR), volts, 0.3)
    solved = run.solved(rhs, [0.0, 0.0])
    scale = np.abs(solved).max(axis=0)
    assert np.abs((run.states - solved) / scale).max() < 5e-4
    assert run.times("turns") != []
    assert run.times("stands") == []
    flowed, accounted = run.energies(delivered=LOAD * np.abs(run.states[:, 1]))
    assert flowed == pytest.approx(accounted, rel=2e-4)


def test_it_breaks_away_where_its_torque_does():
    run = at_voltage(load_of("dc_motor", **MOTOR), 12.0, 0.05)
    (turns,) = run.times("turns")
    assert run.at(turns, run.states[:, 0]) == pytest.approx((TORQUE + LOAD) / K, rel=1e-5)
    assert run.at(turns, run.states[:, 1]) == pytest.approx(0.0, abs=1e-9)


def test_steady_speed_and_current():
    run = at_voltage(load_of("dc_motor", **MOTOR), 12.0, 3.0)
    v = run.volts[-1]
    speed = (K * v / R - TORQUE - LOAD) / (K**2 / R + B)
    assert run.states[-1, 1] == pytest.approx(speed, rel=1e-5)
    assert run.amperes[-1] == pytest.approx((v - K * speed) / R, rel=1e-4)
    assert dc_motor.draws(v, p_of(run.load))[0] == pytest.approx(run.amperes[-1], rel=1e-4)


def test_too_little_voltage_leaves_it_standing_at_its_stall_current():
    run = at_voltage(load_of("dc_motor", **MOTOR), 0.5, 0.5)  # 0.6 A · 30 mN m/A = 18 mN m of 23
    assert run.times("turns") == []
    assert np.abs(run.states[:, 1]).max() == 0.0
    assert run.amperes[-1] == pytest.approx(run.volts[-1] / R, rel=1e-6)
    assert dc_motor.draws(-0.5, p_of(run.load)) == pytest.approx((-0.625, -0.625))


def test_it_stops_once_and_without_chatter():
    sim = bench(load_of("dc_motor", **MOTOR))
    sim.set("out", voltage=12.0, current_limit=20.0, on=True)
    sim.set("out", at=0.5, voltage=0.3)
    before = play(sim, 0.5)
    assert before.states[-1, 1] > 100.0
    taken = sim.steps
    run = play(sim, 3.0)
    assert len(run.times("stands")) == 1
    assert run.times("turns") == []
    assert run.states[-1, 1] == pytest.approx(0.0, abs=1e-9)
    assert run.amperes.min() < -1.0  # it brakes: the supply sinks what it feeds back
    assert sim.steps - taken < 5000
    flowed, accounted = run.energies(delivered=LOAD * np.abs(run.states[:, 1]))
    assert flowed == pytest.approx(accounted, rel=1e-3)


def test_reversed_while_it_turns_it_stops_and_turns_the_other_way():
    sim = bench(load_of("dc_motor", **MOTOR), resistance=0.3)
    sim.set("out", voltage=8.0, current_limit=20.0, on=True)
    sim.change_lead("main", at=0.5, reversed_lead=True)
    run = play(sim, 1.5)
    assert len(run.times("turns")) == 2
    assert len(run.times("stands")) == 1
    assert run.times("stands")[0] == run.times("turns")[1]  # it is driven on, so that it does not rest
    assert run.states[-1, 1] < -100.0


def test_without_friction_it_runs_up_like_a_capacitor():
    """Slow against L/R, ω = V/k (1 - exp(-t k² / (R J))): a capacitance J / k²."""
    load = load_of("dc_motor", **{**FREE, "inductance": "1 uH", "inertia": "40000 g*cm2"})
    run = at_voltage(load, 4.0, 8.0)
    tau = 0.85 * 4e-3 / K**2  # lead and winding
    late = run.time > 0.05
    expected = 4.0 / K * (1 - np.exp(-(run.time[late] - 2.5e-4) / tau))  # the rise takes 0.5 ms
    assert np.abs(run.states[late, 1] / expected - 1).max() < 2e-3
    assert run.times("turns") == []  # without dry friction there is nothing to break away from
    flowed, accounted = run.energies()
    assert flowed == pytest.approx(accounted, rel=2e-4)


def test_a_driven_shaft_feeds_back_until_it_rests():
    sim = bench(load_of("dc_motor", **{**FREE, "friction": "1 mN*m"}))
    sim.set("out", voltage=12.0, current_limit=20.0, on=True)
    play(sim, 0.5)
    sim.set("out", on=False)
    run = play(sim, 20.0)
    assert run.states[-1] == pytest.approx([0.0, 0.0], abs=1e-4)
    assert len(run.times("stands")) == 1
