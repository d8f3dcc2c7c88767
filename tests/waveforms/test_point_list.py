"""What a list makes, and a waveform's jumps on the grid of a list's time."""

import numpy as np
import pytest

from railwright.waveforms.point_list import Abilities, PointList, on_grid
from railwright.waveforms.waveform import Waveform

GRID = Abilities(100, 2e-3, 1.0, 1e-3, 0.0, 20.0, 0.01)


def test_a_stepping_list_holds_each_voltage_and_an_interpolating_one_reaches_it() -> None:
    voltages, dwells = np.array([5.0, 7.0]), np.array([1.0, 2.0])
    held = PointList("step", 5.0, voltages, dwells).wave
    assert list(held.time) == [0.0, 1.0, 1.0, 3.0]
    assert list(held.value) == [5.0, 5.0, 7.0, 7.0]
    reached = PointList("line", 1.0, voltages, dwells).wave
    assert list(reached.time) == [0.0, 1.0, 3.0]
    assert list(reached.value) == [1.0, 5.0, 7.0]


def test_dwells_are_counted_in_steps_of_the_grid_rounded_inwards() -> None:
    assert GRID.cells == (2, 1000)
    assert Abilities(1, 2.1e-3, 2.9e-3, 1e-3, 0.0, 1.0).cells == (3, 3)
    assert Abilities(1, 0.0, 1.0, 1e-3, 0.0, 1.0).cells == (1, 1000)


def test_voltages_go_to_the_nearest_that_can_be_set() -> None:
    assert GRID.on_grid(np.array([-1.0, 1.2349, 25.0])) == pytest.approx([0.0, 1.23, 20.0])
    assert Abilities(1, 1.0, 1.0, 1.0, 0.0, 2.0).on_grid(np.array([1.2349, 3.0])) == pytest.approx(
        [1.2349, 2.0]
    )


def test_a_jump_is_moved_to_the_grid_by_half_a_step_at_most_and_the_list_ends_with_the_waveform() -> None:
    wave = Waveform(np.array([0.0, 0.0104, 0.0104, 0.0203]), np.array([12.0, 12.0, 6.0, 6.0]))
    grid = on_grid(wave, GRID)
    assert list(grid.wave.time) == pytest.approx([0.0, 10.0, 10.0, 20.0])
    assert list(grid.wave.value) == [12.0, 12.0, 6.0, 6.0]
    assert grid.cells == 20
    assert grid.moved == pytest.approx(0.4e-3)


def test_a_jump_right_before_the_end_comes_a_step_before_it_and_makes_no_list_longer() -> None:
    wave = Waveform(np.array([0.0, 0.0198, 0.0198, 0.0203]), np.array([12.0, 12.0, 6.0, 5.0]))
    grid = on_grid(wave, GRID)
    assert (grid.cells, grid.moved) == (20, pytest.approx(0.8e-3))
    assert list(grid.wave.time) == pytest.approx([0.0, 19.0, 19.0, 20.0])


def test_corners_that_are_no_jumps_are_not_moved_however_often_they_are_written() -> None:
    """Rows of a set point's pieces stand twice: a line ends where the next begins, and nothing jumps."""
    time = np.repeat(np.arange(0.0, 40.0) * 0.4e-3, 2)
    grid = on_grid(Waveform(time, np.repeat(np.arange(40.0), 2)), GRID)
    assert grid.moved == 0.0
    assert grid.cells == 15
    assert grid.wave.time[:-1] == pytest.approx(np.arange(0.0, 37.6) * 0.4)


def test_a_pulse_shorter_than_a_step_is_not_lost() -> None:
    wave = Waveform(
        np.array([0.0, 0.01, 0.01, 0.0102, 0.0102, 0.02]), np.array([12.0, 12.0, 6.0, 6.0, 12.0, 12.0])
    )
    grid = on_grid(wave, GRID)
    assert list(grid.wave.time) == pytest.approx([0.0, 10.0, 10.0, 11.0, 11.0, 20.0])
    assert grid.moved == pytest.approx(0.8e-3)


def test_a_grid_too_fine_for_a_long_waveform_is_made_coarser_by_whole_steps() -> None:
    wave = Waveform(np.array([0.0, 3600.0]), np.array([1.0, 2.0]))
    grid = on_grid(wave, Abilities(100, 2e-3, 100.0, 1e-3, 0.0, 20.0))
    assert grid.step == pytest.approx(4e-3)
    assert (grid.shortest, grid.longest, grid.cells) == (1, 25_000, 900_000)


@pytest.mark.parametrize("wrong", [{"at_most": 0}, {"step": 0.0}, {"shortest": 2.0}])
def test_abilities_that_no_list_has_are_refused(wrong: dict[str, float]) -> None:
    given = {"at_most": 1, "shortest": 1.0, "longest": 1.0, "step": 1.0, "lowest": 0.0, "highest": 1.0}
    with pytest.raises(ValueError, match="a point at least"):
        Abilities(**{**given, **wrong})  # type: ignore[arg-type]
