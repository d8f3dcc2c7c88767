"""Stepping lists on a supply's grid: the optimum, against every list that there is."""

import numpy as np
import pytest
from tests.waveforms.by_force import best_list

from railwright.waveforms.fit import deviation
from railwright.waveforms.list_stepping import stepping_list
from railwright.waveforms.point_list import Abilities
from railwright.waveforms.waveform import Waveform


def held(values: np.ndarray) -> Waveform:
    """Each value held for 1 s."""
    return Waveform(np.repeat(np.arange(values.size + 1.0), 2)[1:-1], np.repeat(values, 2))


@pytest.mark.parametrize("seed", range(200))
def test_no_list_of_the_supply_has_less_error(seed: int) -> None:
    rng = np.random.default_rng(seed)
    values = rng.normal(scale=2.0, size=int(rng.integers(1, 14))).round(2)
    shortest = int(rng.integers(1, 4))
    longest = shortest + int(rng.integers(0, 5))
    points, resolution = int(rng.integers(1, 6)), float(rng.choice([0.05, 0.3]))
    abilities = Abilities(points, float(shortest), float(longest), 1.0, -20.0, 20.0, resolution)
    least = best_list(values, shortest, longest, points, resolution)
    listed = stepping_list(held(values), abilities)
    if values.size < shortest:
        # The last level may last longer than the waveform.
        assert listed is not None
        return
    if not np.isfinite(least):
        assert listed is None
        return
    assert listed is not None
    assert listed.error == pytest.approx(least, abs=1e-8)
    assert listed.least <= listed.error
    dwells, voltages = listed.points.dwells, listed.points.voltages
    assert dwells.size <= points
    assert dwells.sum() == pytest.approx(values.size)
    assert dwells.min() >= shortest
    assert dwells.max() <= longest
    assert voltages / resolution == pytest.approx(np.round(voltages / resolution))
    assert deviation(held(values), listed.points.wave) == pytest.approx(listed.error, abs=1e-12)


def test_what_lies_on_the_grid_costs_nothing_and_a_long_hold_is_split() -> None:
    wave = Waveform(np.array([0.0, 0.1, 0.1, 0.3, 0.3, 25.0]), np.array([12.0, 12.0, 4.5, 4.5, 12.0, 12.0]))
    listed = stepping_list(wave, Abilities(10, 1e-3, 10.0, 1e-3, 0.0, 20.0, 1e-3))
    assert listed is not None
    assert (listed.error, listed.edge) == (0.0, 0.0)
    assert listed.points.voltages == pytest.approx([12.0, 4.5, 12.0, 12.0, 12.0])
    assert listed.points.dwells.max() <= 10.0
    assert listed.points.wave.at(np.array([0.0999, 0.1001, 0.2999, 0.3001])) == pytest.approx(
        [12, 4.5, 4.5, 12]
    )


def test_a_jump_off_the_grid_is_out_of_time_and_not_wrong() -> None:
    wave = Waveform(np.array([0.0, 0.1004, 0.1004, 0.3]), np.array([12.0, 12.0, 6.0, 6.0]))
    listed = stepping_list(wave, Abilities(10, 1e-3, 10.0, 1e-3, 0.0, 20.0, 1e-3))
    assert listed is not None
    assert listed.error == 0.0
    assert listed.edge == pytest.approx(0.4e-3)


def test_a_ramp_in_levels_is_off_by_half_a_level_and_by_half_a_step_of_the_voltage_at_most() -> None:
    wave = Waveform(np.array([0.0, 1.0]), np.array([0.0, 10.0]))
    listed = stepping_list(wave, Abilities(8, 1e-3, 10.0, 1e-3, 0.0, 20.0, 0.01))
    assert listed is not None
    assert listed.least == pytest.approx(10.0 / 16.0)
    assert listed.least <= listed.error <= listed.least + 0.005 + 1e-9


def test_no_list_lasts_longer_than_all_its_dwells() -> None:
    wave = Waveform(np.array([0.0, 30.0]), np.array([1.0, 1.0]))
    assert stepping_list(wave, Abilities(2, 1e-3, 10.0, 1e-3, 0.0, 20.0)) is None
