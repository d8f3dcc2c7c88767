"""LED string: its rated point, its slope there, its equation at every voltage, and none when reversed."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq
from tests.physics.loads.driven import at_voltage, load_of, p_of

from railwright.physics.loads import led_string

STRING = {
    "count": "4",
    "forward_voltage": "3.1 V",
    "rated_current": "20 mA",
    "series_resistance": "330 ohm",
    "dynamic_resistance": "12 ohm",
    "ideality": "2",
}
BARE = {"count": "1", "forward_voltage": "3.1 V", "rated_current": "20 mA", "series_resistance": "0 ohm"}


@pytest.mark.parametrize(
    "given", [STRING, BARE, {**BARE, "ideality": "1"}, {**BARE, "rated_current": "3 A", "count": "12"}]
)
def test_the_rated_point_and_its_slope_come_back(given):
    p = p_of(load_of("led_string", **given))
    rated = p[2]
    v = p[0] * p[1] + p[3] * rated
    assert led_string.current(v, 0.0, p, [], []) == pytest.approx(rated, rel=1e-9)
    slope = p[4] or 2 * p[5] * led_string.THERMAL / rated  # twice the junction's, where none is given
    h = 1e-5
    change = led_string.current(v + h, 0.0, p, [], []) - led_string.current(v - h, 0.0, p, [], [])
    assert 2 * h / change == pytest.approx(p[0] * slope + p[3], rel=1e-6)


@pytest.mark.parametrize("given", [STRING, BARE])
@pytest.mark.parametrize("volts", [1e-9, 0.1, 1.5, 5.0, 9.0, 11.0, 12.4, 15.0, 24.0, 60.0, 400.0])
def test_its_equation_holds_at_every_voltage(given, volts):
    """Own root of v = (R + N r) i + N m ln(1 + i / I_s), in the logarithm of the current."""
    p = p_of(load_of("led_string", **given))
    m = p[5] * 0.025852
    r = (p[4] - m / p[2]) if p[4] else m / p[2]
    log_is = np.log(p[2]) - (p[1] - r * p[2]) / m

    def over(x):
        i = np.exp(x)
        return (p[3] + p[0] * r) * i + p[0] * m * np.logaddexp(0.0, x - log_is) - volts

    expected = np.exp(brentq(over, -150.0, 10.0, xtol=1e-14))
    assert led_string.current(volts, 0.0, p, [], []) == pytest.approx(expected, rel=1e-7, abs=1e-35)


def test_played_it_settles_on_its_curve_and_all_of_it_is_heat():
    run = at_voltage(load_of("led_string", **STRING), 24.0, 0.05)
    p = p_of(run.load)
    law = [led_string.current(v, 0.0, p, [], []) for v in run.volts]
    assert run.amperes == pytest.approx(law, rel=1e-9, abs=1e-12)
    assert 0.02 < run.amperes[-1] < 0.04
    flowed, accounted = run.energies()
    assert flowed == pytest.approx(accounted, rel=1e-12)


def test_without_a_resistor_it_asks_for_more_than_the_limit_gives():
    run = at_voltage(load_of("led_string", **BARE), 12.0, 0.05, limit=0.1)
    assert run.amperes[-1] == pytest.approx(0.1, rel=1e-3)
    assert 3.0 < run.volts[-1] < 4.5


def test_reversed_it_blocks():
    run = at_voltage(load_of("led_string", **STRING), -24.0, 0.05)
    assert np.abs(run.amperes).max() == 0.0
    assert led_string.draws(-5.0, p_of(run.load)) == (0.0, 0.0)
