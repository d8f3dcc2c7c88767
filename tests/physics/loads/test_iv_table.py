"""Current over voltage from a table: its points, the lines between, its ends, below 0 V."""

from __future__ import annotations

import numpy as np
import pytest
from tests.physics.bench import capacitor
from tests.physics.loads.driven import at_voltage, bench, load_of, p_of
from tests.physics.loads.driven import run as play

from railwright.physics.loads import iv_table

ROWS = (("3 V", "1 mA"), ("6 V", "0.5 A"), ("9 V", "0.9 A"), ("12 V", "0.7 A"), ("24 V", "0.35 A"))
POINTS = tuple({"voltage": volts, "current": amperes} for volts, amperes in ROWS)
CAPACITOR = capacitor(10e-6)
"""A current that falls with the voltage against the lead's inductance and 10 nF of a connector oscillates."""
VOLTS = np.array([0.0, 3.0, 6.0, 9.0, 12.0, 24.0])
AMPERES = np.array([0.0, 1e-3, 0.5, 0.9, 0.7, 0.35])


@pytest.mark.parametrize("volts", [-5.0, 0.0, 1e-9, 1.0, 3.0, 4.5, 9.0, 11.999, 12.0, 23.0, 24.0, 1000.0])
def test_straight_lines_between_the_points(volts):
    p = p_of(load_of("iv_table", points=POINTS))
    expected = float(np.interp(volts, VOLTS, AMPERES))
    assert iv_table.current(volts, 0.0, p, [], []) == pytest.approx(expected, rel=1e-12, abs=1e-15)
    doubled = p_of(load_of("iv_table", points=POINTS, factor="2"))
    assert iv_table.draws(volts, doubled)[0] == pytest.approx(2 * expected, rel=1e-12, abs=1e-15)


def test_regions_change_at_the_points_and_nowhere_else():
    p = p_of(load_of("iv_table", points=POINTS))
    grid = np.linspace(-1.0, 30.0, 6201)
    found = [iv_table.region(v, 0.0, p, [], []) for v in grid]
    assert found == [int((v >= VOLTS).sum()) for v in grid]


def test_one_point_is_a_resistor_up_to_it():
    p = p_of(load_of("iv_table", points=({"voltage": "10 V", "current": "1 A"},)))
    assert [iv_table.current(v, 0.0, p, [], []) for v in (-1.0, 5.0, 20.0)] == [0.0, 0.5, 1.0]


def test_a_table_may_go_below_zero():
    points = ({"voltage": "-2 V", "current": "-1 A"}, {"voltage": "0 V", "current": "0 A"}, *POINTS)
    run = at_voltage(load_of("iv_table", points=points), -1.0, 0.1)
    assert run.amperes[-1] == pytest.approx(run.volts[-1] / 2, rel=1e-9)
    assert run.volts[-1] == pytest.approx(-1.0 / (1 + 0.05 / 2), rel=1e-3)


def test_played_up_and_down_it_stays_on_its_lines():
    sim = bench(load_of("iv_table", points=POINTS), CAPACITOR)
    sim.set("out", line=(26.0, 0.2), current_limit=20.0, on=True)
    sim.set("out", at=0.3, line=(0.0, 0.2))
    run = play(sim, 0.6)
    assert run.amperes == pytest.approx(np.interp(run.volts, VOLTS, AMPERES), rel=1e-9, abs=1e-12)
    assert run.volts.max() == pytest.approx(26.0, abs=0.05)
    assert sim.steps < 5000
    flowed, accounted = run.energies()
    assert flowed == pytest.approx(accounted, rel=1e-12)


def test_a_falling_line_against_a_limit_jumps_and_ends_at_a_stable_point():
    """From 9 V to 24 V its current falls: the input passes the hump only if the limit allows it."""
    for limit, low, high in ((0.6, 6.0, 7.0), (1.0, 19.9, 20.0)):
        run = at_voltage(load_of("iv_table", points=POINTS), 20.0, 0.3, CAPACITOR, limit=limit)
        assert low < run.volts[-1] < high
