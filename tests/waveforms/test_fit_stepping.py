"""Stepping fits: the optimum, against every partition; the tolerance kept; jumps, long lines and the ends."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.waveforms.by_force import best_levels, best_levels_of_lines

from railwright.waveforms.fit import deviation
from railwright.waveforms.fit_stepping import least_error_steps
from railwright.waveforms.waveform import Waveform

SHORT = st.lists(st.integers(-20, 20), min_size=1, max_size=12)


def held(values: list[float]) -> Waveform:
    """Each value held for 1 s."""
    time = np.repeat(np.arange(len(values) + 1.0), 2)[1:-1]
    return Waveform(time, np.repeat(np.array(values, float), 2))


def lines(values: list[float]) -> Waveform:
    """Straight lines of 1 s from value to value."""
    return Waveform(np.arange(float(len(values))), np.array(values, float))


@settings(deadline=None)
@given(SHORT, st.integers(1, 6))
def test_held_values_are_fitted_as_well_as_any_partition_can(values: list[int], points: int) -> None:
    fit = least_error_steps(held(values), points)
    assert fit.error == best_levels(np.array(values, float), points)
    assert fit.points <= points
    assert deviation(held(values), fit.wave) == fit.error
    assert fit.gap == 0.0


@pytest.mark.parametrize("seed", range(12))
def test_lines_are_fitted_within_the_bounds_of_a_fine_search(seed: int) -> None:
    rng = np.random.default_rng(seed)
    values = list(rng.normal(size=rng.integers(2, 6)))
    points = int(rng.integers(1, 5))
    wave = lines(values)
    fit = least_error_steps(wave, points)
    below, above = best_levels_of_lines(wave.time, wave.value, points, 40)
    assert below - 1e-12 <= fit.error <= above
    assert deviation(wave, fit.wave) == pytest.approx(fit.error, abs=1e-12)


def test_one_line_in_four_levels_of_a_quarter_each() -> None:
    fit = least_error_steps(lines([0.0, 8.0]), 4)
    assert fit.error == pytest.approx(1.0, abs=1e-15)
    assert fit.wave.time == pytest.approx([0.0, 0.25, 0.25, 0.5, 0.5, 0.75, 0.75, 1.0])
    assert fit.wave.value == pytest.approx([1.0, 1.0, 3.0, 3.0, 5.0, 5.0, 7.0, 7.0])


def test_what_is_held_already_is_met_without_error_however_small_the_steps() -> None:
    values = [12.0, 12.0 + 1e-9, 6.0, 12.0]
    fit = least_error_steps(held(values), 4)
    assert fit.error == 0.0
    assert fit.points == 4
    assert least_error_steps(held(values), 3).error == pytest.approx(0.5e-9, rel=1e-6)


def test_jumps_at_the_very_ends_last_no_time_and_need_no_level() -> None:
    wave = Waveform(np.array([0.0, 0.0, 1.0, 1.0]), np.array([9.0, 2.0, 2.0, 7.0]))
    fit = least_error_steps(wave, 1)
    assert (fit.points, fit.error) == (1, 0.0)
    assert list(fit.wave.value) == [2.0, 2.0]


def test_of_several_rows_at_one_time_the_first_and_the_last_count() -> None:
    wave = Waveform(np.array([0.0, 1.0, 1.0, 1.0, 2.0]), np.array([0.0, 0.0, 50.0, 1.0, 1.0]))
    assert least_error_steps(wave, 2).error == 0.0


def test_no_duration_is_one_level() -> None:
    assert least_error_steps(Waveform(np.zeros(1), np.array([5.0])), 3).points == 1


@pytest.mark.parametrize("points", [0, -1])
def test_no_point_is_refused(points: int) -> None:
    with pytest.raises(ValueError, match="one point"):
        least_error_steps(lines([0.0, 1.0]), points)
