"""Samples as waveforms, and recordings as few lines with their jumps."""

from __future__ import annotations

import numpy as np
import pytest

from railwright.waveforms.fit import deviation
from railwright.waveforms.recordings import NoRecording, as_pieces, few_lines, from_samples
from railwright.waveforms.shapes import Hold, Jump, Line
from railwright.waveforms.waveform import Waveform


def test_a_part_of_the_samples_begins_and_ends_between_them() -> None:
    time, value = np.array([0.0, 1.0, 2.0, 3.0, 4.0]), np.array([1.0, 2.0, 3.0, 4.0, 9.0])
    for first in (0, 1):  # all of them, or one sample on either side of the part
        wave, notes = from_samples(time[first:4], value[first:4], first + 0.5, first + 1.75)
        assert list(wave.time) == [0.0, 0.5, 1.25]
        assert list(wave.value) == [first + 1.5, first + 2.0, first + 2.75]
        assert notes == ()


@pytest.mark.parametrize(
    ("time", "value", "row", "told"),
    [
        ([1.0, 1.0], [1.0, 2.0], 0, "two times"),
        ([1.0], [1.0], 0, "two times"),
        ([0.0, 1e-300, 1.0], [1.0, 2.0, 3.0], 1, "1e-18 s apart at least"),
    ],
)
def test_samples_that_make_no_waveform(time: list[float], value: list[float], row: int, told: str) -> None:
    with pytest.raises(NoRecording, match=told) as raised:
        from_samples(np.array(time), np.array(value))
    assert raised.value.row == row


def test_few_lines_keep_the_jumps_and_the_bound() -> None:
    when = np.arange(1001) * 1e-3
    first, second = 12.0 + np.sin(6.0 * when), np.full(1001, 6.0)
    wave = Waveform(np.concatenate((when, when + 1.0)), np.concatenate((first, second)))
    fit = few_lines(wave)
    span = float(np.ptp(wave.value))
    assert fit.error <= 0.0025 * span * (1.0 + 1e-9)
    assert fit.error == pytest.approx(deviation(wave, fit.wave), rel=1e-9)
    assert fit.points < 40
    jump = np.flatnonzero(np.diff(fit.wave.time) == 0.0)
    assert jump.size == 1
    assert fit.wave.value[jump[0] + 1] == 6.0


def test_too_many_lines_are_made_fewer_by_a_larger_deviation() -> None:
    rng = np.random.default_rng(3)
    wave = Waveform(np.arange(5000) * 1e-3, rng.normal(size=5000))
    fit = few_lines(wave, most=100)
    assert fit.points <= 100
    assert fit.error > 0.0025 * float(np.ptp(wave.value))
    with pytest.raises(ValueError, match="at most 3 stretches"):
        few_lines(Waveform(np.repeat(np.arange(6.0), 2), np.arange(12.0)), most=3)


def test_a_waveform_as_pieces_of_a_shape() -> None:
    wave = Waveform(np.array([0.0, 1.0, 1.0, 2.0, 3.5]), np.array([12.0, 12.0, 6.0, 6.0, 9.0]))
    assert as_pieces(wave) == (Jump(12.0), Hold(1.0), Jump(6.0), Hold(1.0), Line(9.0, 1.5))
    constant = few_lines(Waveform(np.array([0.0, 1.0, 2.0]), np.full(3, 5.0)))
    assert as_pieces(constant.wave) == (Jump(5.0), Hold(2.0))
