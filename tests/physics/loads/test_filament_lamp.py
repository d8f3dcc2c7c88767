"""Filament lamp: its rating, its warm-up time, and its whole course against own equations."""

from __future__ import annotations

import numpy as np
import pytest
from tests.physics.loads.driven import at_voltage, load_of, p_of

from railwright.physics.loads import filament_lamp

LAMP = {"rated_voltage": "12 V", "rated_power": "24 W", "cold_resistance": "0.5 ohm", "warm_up": "60 ms"}


def test_the_rated_point_comes_back():
    """At exactly the rated voltage a hot lamp draws its rated current, for whichever way of giving it."""
    for given in (
        LAMP,
        {"rated_voltage": "12 V", "rated_current": "2 A"},
        {"rated_voltage": "12 V", "rated_current": "2 A", "cold_resistance": "1 ohm"},
    ):
        p = p_of(load_of("filament_lamp", **given))
        hot = filament_lamp.hot_temperature(p)
        assert filament_lamp.current(12.0, 0.0, p, [hot], []) == pytest.approx(2.0, rel=1e-12)
        change = [0.0]
        filament_lamp.derivatives(12.0, 0.0, p, [hot], [], change)
        assert change[0] == pytest.approx(0.0, abs=1e-6 * hot)
        assert filament_lamp.draws(12.0, p) == pytest.approx((2.0, 2.0), rel=1e-9)
    run = at_voltage(load_of("filament_lamp", **LAMP), 12.1, 3.0)  # 12.1 V less 0.05 Ω · 2 A
    assert run.volts[-1] == pytest.approx(12.0, abs=1e-3)
    assert run.amperes[-1] == pytest.approx(2.0, rel=1e-4)


def test_cold_it_draws_what_its_cold_resistance_asks_for():
    p = p_of(load_of("filament_lamp", **LAMP))
    assert filament_lamp.current(12.0, 0.0, p, filament_lamp.at_start(p), []) == pytest.approx(24.0)


@pytest.mark.parametrize("cold", ["0.3 ohm", "0.5 ohm", "2.9 ohm"])
@pytest.mark.parametrize("warm_up", ["5 ms", "60 ms", "2 s"])
def test_the_warm_up_time_comes_back(cold, warm_up):
    """At the rated voltage from the cold on, the current is 1.1 of the rated one after the warm-up time."""
    from scipy.integrate import solve_ivp

    p = p_of(load_of("filament_lamp", **{**LAMP, "cold_resistance": cold, "warm_up": warm_up}))

    def rhs(t, y):
        change = [0.0]
        filament_lamp.derivatives(12.0, t, p, y, [], change)
        return change

    time = p[4]
    end = solve_ivp(rhs, (0.0, time), [293.15], method="Radau", rtol=1e-10, atol=1e-8).y[0, -1]
    assert filament_lamp.current(12.0, 0.0, p, [end], []) == pytest.approx(2.2, rel=2e-4)


@pytest.mark.parametrize("volts", [12.0, 6.0, -12.0, 0.05, 20.0])
def test_its_course_is_that_of_own_equations(volts):
    load = load_of("filament_lamp", **LAMP)
    run = at_voltage(load, volts, 0.2)
    p = p_of(load)
    hot = 293.15 * (6.0 / 0.5) ** (1 / 1.215)
    mass = filament_lamp.heat_capacity(p)

    def rhs(t, v, y):
        resistance = 0.5 * (y[0] / 293.15) ** 1.215
        radiated = 24.0 * (y[0] ** 4 - 293.15**4) / (hot**4 - 293.15**4)
        return [(v**2 / resistance - radiated) / mass]

    solved = run.solved(rhs, [293.15])
    assert np.abs(run.states[:, 0] - solved[:, 0]).max() < 0.05  # kelvin
    expected = run.volts / (0.5 * (solved[:, 0] / 293.15) ** 1.215)
    assert np.abs(run.amperes - expected).max() < 2e-3 * max(1e-3, np.abs(expected).max())
    flowed, accounted = run.energies()
    assert flowed == pytest.approx(accounted, rel=2e-4)


def test_it_cools_when_it_is_switched_off():
    from tests.physics.loads.driven import bench
    from tests.physics.loads.driven import run as play

    sim = bench(load_of("filament_lamp", **LAMP))
    sim.set("out", voltage=12.0, current_limit=20.0, on=True)
    hot = play(sim, 1.0).states[-1, 0]
    sim.set("out", on=False)
    cold = play(sim, 30.0)
    assert hot > 2000.0
    assert 290.0 < cold.states[-1, 0] < 900.0
    assert (np.diff(cold.states[:, 0]) < 1e-3).all()


def test_hot_it_draws_more_than_in_proportion_to_the_root():
    """P ~ T⁴, R ~ T^1.215: well above the surroundings the current goes with V^(4 - 1.215) / (4 + 1.215)."""
    p = p_of(load_of("filament_lamp", **LAMP))
    slope = np.log(filament_lamp.draws(24.0, p)[0] / filament_lamp.draws(12.0, p)[0]) / np.log(2.0)
    assert slope == pytest.approx((4 - 1.215) / (4 + 1.215), rel=1e-3)
    assert filament_lamp.draws(-12.0, p)[0] == pytest.approx(-2.0)
    assert filament_lamp.draws(0.0, p) == (0.0, 0.0)
