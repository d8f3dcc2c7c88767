"""Coil with freewheel diode: closed forms while it charges and while it freewheels, and reversed."""

from __future__ import annotations

import numpy as np
import pytest
from tests.physics.loads.driven import at_voltage, bench, load_of, p_of
from tests.physics.loads.driven import run as play

from railwright.physics.loads import coil

COIL = {"resistance": "60 ohm", "inductance": "0.3 H", "diode_drop": "0.7 V", "diode_resistance": "0.1 ohm"}


def test_it_charges_by_l_over_r():
    run = at_voltage(load_of("coil", **COIL), 24.0, 0.05)
    solved = run.solved(lambda t, v, y: [(v - 60.0 * y[0]) / 0.3], [0.0])
    assert np.abs(run.states - solved).max() < 1e-6
    late = run.time > 0.01
    # after the rise a plain exponential towards V / R, both with the lead's 0.05 Ω
    start, settled = run.at(0.01, run.states[:, 0]), 24.0 / 60.05
    expected = settled + (start - settled) * np.exp(-(run.time[late] - 0.01) * 60.05 / 0.3)
    assert np.abs(run.states[late, 0] - expected).max() < 2e-5
    flowed, accounted = run.energies()
    assert flowed == pytest.approx(accounted, rel=5e-5)


def test_switched_off_by_a_contact_it_freewheels():
    """L di/dt = -(R + R_d) i - V_d until the current is zero: i = (i0 + V_d/R) exp(-t R/L) - V_d/R."""
    sim = bench(load_of("coil", **COIL))
    sim.set("out", voltage=24.0, current_limit=5.0, on=True)
    sim.change_lead("main", at=0.1, opened=True)
    play(sim, 0.1)
    run = play(sim, 0.12)
    loop = 60.1
    expected = (0.4 + 0.7 / loop) * np.exp(-(run.time - 0.1) * loop / 0.3) - 0.7 / loop
    flows = (run.time > 0.1001) & (expected > 1e-3)
    assert np.abs(run.states[flows, 0] - expected[flows]).max() < 3e-4
    assert run.volts[flows] == pytest.approx(-0.7 - 0.1 * run.states[flows, 0], abs=2e-3)
    assert run.volts.min() > -0.8
    assert run.volts.min() < -0.7


def test_reversed_the_diode_takes_the_limit():
    run = at_voltage(load_of("coil", **COIL), -24.0, 0.1, limit=3.0)
    assert run.volts[-1] == pytest.approx(-0.7 - 0.1 * 2.98, rel=1e-2)
    assert run.amperes[-1] == pytest.approx(-3.0, rel=1e-2)
    flowed, accounted = run.energies()
    assert flowed == pytest.approx(accounted, rel=1e-4)
    low, high = coil.draws(run.volts[-1], p_of(run.load))
    assert low == high == pytest.approx(run.amperes[-1], rel=1e-3)
