"""How outputs in series empty, held against closed forms."""

from __future__ import annotations

import math

import pytest

from railwright.physics.series_discharge import discharging_time

HUGE = 1e12


@pytest.mark.parametrize("count", [2, 3, 5])
def test_like_outputs_empty_as_one_with_their_series_capacitance_and_the_sum_of_their_bleeders(count) -> None:
    """(C_L + C/n) · n R · ln(V / 1 V), the load drawing nothing."""
    found = discharging_time(
        [8.0] * count, [200e-6] * count, [1e3] * count, [0.0] * count, 50e-6, lambda v: 0.0, 1.0
    )
    closed = (50e-6 + 200e-6 / count) * count * 1e3 * math.log(8.0 * count)
    assert found == pytest.approx(closed, rel=1e-4)


def test_an_output_that_empties_first_leaves_the_other_its_own_time_constant() -> None:
    """Beside next to no load the outputs empty each by itself: v(t) = Σ v_k exp(-t / R_k C_k)."""
    slow, fast = 1000e-6 * 10e3, 100e-6 * 1e3
    found = discharging_time(
        [20.0, 20.0], [1000e-6, 100e-6], [10e3, 1e3], [0.0, 0.0], 1e-12, lambda v: 0.0, 1.0
    )
    assert 20.0 * (math.exp(-found / slow) + math.exp(-found / fast)) == pytest.approx(1.0, rel=1e-3)
    assert found == pytest.approx(slow * math.log(20.0), rel=1e-3)


def test_a_load_empties_the_smaller_output_through_whose_diode_the_other_goes_on() -> None:
    """10 mA flow from both outputs and the load's capacitor until 100 µF are empty, then from the rest."""
    beside, large, small, amperes = 22e-6, 1000e-6, 100e-6, 10e-3
    found = discharging_time(
        [20.0, 20.0], [large, small], [HUGE, HUGE], [0.0, 0.0], beside, lambda v: amperes, 1.0
    )
    series = 1.0 / (1.0 / large + 1.0 / small)
    lent = series / (series + beside)  # part of the current that comes out of the outputs
    first = small * 20.0 / (lent * amperes)
    left = 20.0 - lent * amperes * first / large
    assert found == pytest.approx(first + (large + beside) * (left - 1.0) / amperes, rel=1e-3)


def test_what_an_output_takes_in_empties_its_own_capacitor_and_the_loads() -> None:
    """Without a load each falls by itself at S/C, here both at 20 V/s: from 40 V to 1 V at 40 V/s."""
    farads, sunk, beside = [1000e-6, 100e-6], [20e-3, 2e-3], 1e-12
    found = discharging_time([20.0, 20.0], farads, [HUGE, HUGE], sunk, beside, lambda v: 0.0, 1.0)
    assert found == pytest.approx(39.0 / 40.0, rel=2e-3)
