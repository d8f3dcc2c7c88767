"""Interpolating fits: the optimum, against searches; the tolerance kept; jumps; long recordings."""

import numpy as np
import pytest
from tests.waveforms.by_force import best_lines

from railwright.waveforms import fit_lines
from railwright.waveforms.fit import deviation
from railwright.waveforms.fit_lines import fewest_lines, least_error_lines
from railwright.waveforms.waveform import Waveform


def random_wave(seed: int) -> Waveform:
    """Some rows at uneven times, free of jumps."""
    rng = np.random.default_rng(seed)
    rows = int(rng.integers(3, 12))
    time = np.concatenate(([0.0], np.cumsum(rng.uniform(0.2, 1.0, rows - 1))))
    return Waveform(time, rng.normal(size=rows) if seed % 2 else np.cumsum(rng.normal(size=rows)))


@pytest.mark.parametrize("points", [1, 2, 3])
@pytest.mark.parametrize("seed", range(10))
def test_no_search_finds_lines_with_less_error(seed: int, points: int) -> None:
    wave = random_wave(seed)
    fit = least_error_lines(wave, points)
    span = np.ptp(wave.value)
    searched = best_lines(wave.time, wave.value, points)
    assert fit.points <= points
    assert fit.error == pytest.approx(deviation(wave, fit.wave), rel=1e-12)
    assert fit.gap <= 1e-9 * span
    # The search closes in from above, so it can be worse by what it has not yet found.
    assert searched - 1e-4 * span <= fit.error <= searched + 1e-9 * span


@pytest.mark.parametrize("seed", range(30))
def test_the_fewest_lines_keep_the_tolerance_and_one_less_cannot(seed: int) -> None:
    wave = random_wave(seed)
    tolerance = 0.02 + 0.4 * np.random.default_rng(seed).random() * float(np.ptp(wave.value))
    fit = fewest_lines(wave, tolerance)
    assert fit is not None
    assert fit.error <= tolerance * (1.0 + 1e-12)
    assert least_error_lines(wave, fit.points).error <= tolerance * (1.0 + 1e-9)
    if fit.points > 1:
        less = least_error_lines(wave, fit.points - 1)
        assert less.error > tolerance
        assert less.error - less.gap > tolerance * (1.0 - 1e-9)


def test_lines_are_met_exactly_by_as_many() -> None:
    wave = Waveform(np.array([0.0, 1.0, 3.0, 4.0]), np.array([12.0, 6.0, 6.0, 12.0]))
    fit = least_error_lines(wave, 3)
    assert fit.error <= 1e-8
    assert fit.wave.time == pytest.approx(wave.time, abs=1e-7)


def test_many_rows_give_what_looking_at_all_of_them_in_every_pass_gives(monkeypatch) -> None:
    rng = np.random.default_rng(7)
    wave = Waveform(np.arange(30_000) * 1e-4, np.cumsum(rng.normal(size=30_000)))
    few = least_error_lines(wave, 40)
    monkeypatch.setattr(fit_lines, "LONG", 10**9)
    every = least_error_lines(wave, 40)
    assert few.error - few.gap <= every.error
    assert every.error - every.gap <= few.error
    assert deviation(wave, few.wave) == pytest.approx(few.error, rel=1e-12)
    assert few.gap <= 1e-9 * np.ptp(wave.value)


def test_a_jump_is_beyond_any_lines_by_half_its_height() -> None:
    wave = Waveform(np.array([0.0, 1.0, 1.0, 2.0]), np.array([0.0, 0.0, 4.0, 4.0]))
    assert fewest_lines(wave, 1.9) is None
    fit = fewest_lines(wave, 2.1)
    assert fit is not None
    assert fit.error <= 2.1
    assert least_error_lines(wave, 9).error == pytest.approx(2.0, abs=1e-8)


def test_a_constant_is_one_line_without_error() -> None:
    fit = least_error_lines(Waveform(np.array([0.0, 5.0]), np.array([3.0, 3.0])), 4)
    assert (fit.points, fit.error, fit.gap) == (1, 0.0, 0.0)
    assert least_error_lines(Waveform(np.zeros(1), np.array([3.0])), 4).points == 1


def test_no_point_and_no_tolerance_are_refused() -> None:
    wave = random_wave(0)
    with pytest.raises(ValueError, match="one point"):
        least_error_lines(wave, 0)
    with pytest.raises(ValueError, match="above 0"):
        fewest_lines(wave, 0.0)
