"""Interpolating lists on a supply's grid: against every choice of instants on it, jumps as short lines."""

import numpy as np
import pytest
from tests.waveforms.by_force import best_line_list

from railwright.waveforms.fit import deviation
from railwright.waveforms.list_lines import line_list
from railwright.waveforms.point_list import Abilities
from railwright.waveforms.waveform import Waveform


@pytest.mark.parametrize("seed", range(25))
def test_the_least_error_lies_between_the_free_optimum_and_what_is_found(seed: int) -> None:
    rng = np.random.default_rng(seed)
    rows = int(rng.integers(4, 9))
    wave = Waveform(np.arange(float(rows)) * 2.0, rng.normal(size=rows).cumsum())
    shortest, points = int(rng.integers(1, 3)), int(rng.integers(1, 4))
    listed = line_list(wave, Abilities(points, float(shortest), 1e3, 1.0, -50.0, 50.0))
    assert listed is not None
    assert listed.points.dwells.size <= points
    assert listed.points.dwells.min() >= shortest
    assert listed.error == pytest.approx(deviation(wave, listed.points.wave))
    least = best_line_list(wave.time, wave.value, shortest, points)
    assert listed.least <= least + 1e-6
    assert listed.error >= least - 1e-6
    # What the search on the grid misses is stated with the price of the grid, and bounded here.
    assert listed.error <= least + 0.25 * float(np.ptp(wave.value))


def test_lines_on_the_grid_are_played_as_they_are() -> None:
    wave = Waveform(np.array([0.0, 0.1, 0.105, 0.12, 2.0]), np.array([12.0, 12.0, 4.5, 6.0, 12.0]))
    listed = line_list(wave, Abilities(10, 1e-3, 10.0, 1e-3, 0.0, 20.0, 1e-3))
    assert listed is not None
    assert listed.error == pytest.approx(0.0, abs=1e-6)
    assert listed.edge == 0.0
    assert listed.points.dwells == pytest.approx([0.1, 0.005, 0.015, 1.88])
    assert listed.points.voltages == pytest.approx([12.0, 4.5, 6.0, 12.0])
    assert listed.points.start == pytest.approx(12.0)


def test_a_jump_lasts_the_shortest_dwell() -> None:
    wave = Waveform(np.array([0.0, 0.1, 0.1, 0.3]), np.array([12.0, 12.0, 6.0, 6.0]))
    listed = line_list(wave, Abilities(10, 2e-3, 10.0, 1e-3, 0.0, 20.0, 1e-3))
    assert listed is not None
    assert listed.edge == pytest.approx(2e-3)
    assert listed.points.dwells == pytest.approx([0.1, 0.002, 0.198])
    assert listed.points.voltages == pytest.approx([12.0, 6.0, 6.0])


def test_jumps_nearer_than_the_shortest_dwell_come_together() -> None:
    time = np.array([0.0, 0.1, 0.1, 0.101, 0.101, 0.102, 0.102, 0.3])
    wave = Waveform(time, np.array([12.0, 12.0, 9.0, 9.0, 6.0, 6.0, 3.0, 3.0]))
    listed = line_list(wave, Abilities(10, 2e-3, 10.0, 1e-3, 0.0, 20.0, 1e-3))
    assert listed is not None
    assert listed.points.wave.at(np.array([0.05, 0.2])) == pytest.approx([12.0, 3.0], abs=1e-3)
    # On the way from 12 V to 3 V nothing is lost but time.
    assert listed.error == pytest.approx(0.0, abs=1e-6)


def test_a_pulse_shorter_than_the_shortest_dwell_is_lost_and_counts() -> None:
    time = np.array([0.0, 0.1, 0.1, 0.101, 0.101, 0.3])
    wave = Waveform(time, np.array([12.0, 12.0, 6.0, 6.0, 11.0, 11.0]))
    listed = line_list(wave, Abilities(10, 2e-3, 10.0, 1e-3, 0.0, 20.0, 1e-3))
    assert listed is not None
    assert listed.error == pytest.approx(5.0, abs=1e-3)


def test_a_jump_from_where_the_output_stands_is_a_line_as_well() -> None:
    wave = Waveform(np.array([0.0, 0.3]), np.array([12.0, 12.0]))
    listed = line_list(wave, Abilities(10, 2e-3, 10.0, 1e-3, 0.0, 20.0, 1e-3), start=5.0)
    assert listed is not None
    assert listed.points.start == pytest.approx(5.0)
    assert listed.points.dwells == pytest.approx([2e-3, 0.298])
    assert listed.edge == pytest.approx(2e-3)


def test_long_lines_are_split_and_a_list_that_is_too_short_is_none() -> None:
    wave = Waveform(np.array([0.0, 25.0]), np.array([0.0, 10.0]))
    listed = line_list(wave, Abilities(4, 1e-3, 10.0, 1e-3, 0.0, 20.0, 1e-3))
    assert listed is not None
    assert listed.points.dwells.max() <= 10.0
    assert listed.error <= 5e-4 + 1e-9
    assert line_list(wave, Abilities(2, 1e-3, 10.0, 1e-3, 0.0, 20.0)) is None


def test_no_voltage_lies_beyond_what_can_be_set() -> None:
    wave = Waveform(np.linspace(0.0, 1.0, 101), 10.0 + 6.0 * np.sin(np.linspace(0.0, 6.0, 101)))
    listed = line_list(wave, Abilities(12, 1e-3, 10.0, 1e-3, 4.0, 15.0, 1e-3))
    assert listed is not None
    assert listed.points.voltages.max() <= 15.0
    assert listed.error == pytest.approx(1.0, abs=0.3)


@pytest.mark.parametrize(("level", "before"), [(45.5, 48.0), (9.0, 12.0), (30.0, 24.0)])
def test_a_jump_soon_after_a_corner_begins_there(level: float, before: float) -> None:
    """A line of 20 ms to a level, 10 ms there, a jump back; no dwell is shorter than 20 ms. The line of the
    jump is 20 ms out at most wherever it begins: from the corner on, all else is as asked.
    """
    kinked = [(0.0, before), (0.02, level), (0.025, level), (0.03, level), (0.03, before), (0.28, before)]
    for rows in (kinked, [each for each in kinked if each[0] != 0.025]):
        asked = Waveform(*np.array(rows).T)
        can = Abilities(at_most=200, shortest=0.02, longest=300.0, step=1e-3, lowest=0.0, highest=60.0)
        made = line_list(asked, can)
        assert made is not None
        assert (made.error, made.edge) == (0.0, pytest.approx(0.02))
        assert made.points.wave.at(np.array([0.0, 0.01, 0.02, 0.03, 0.04, 0.2])) == pytest.approx(
            [before, (before + level) / 2.0, level, (before + level) / 2.0, before, before]
        )
