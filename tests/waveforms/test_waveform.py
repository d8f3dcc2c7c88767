"""What a waveform is between its rows, at its jumps and outside."""

import numpy as np
import pytest

from railwright.waveforms.waveform import Waveform


def test_straight_lines_between_rows_and_the_value_after_a_jump() -> None:
    wave = Waveform(np.array([0.0, 1.0, 1.0, 2.0]), np.array([0.0, 2.0, 5.0, 5.0]))
    assert wave.duration == 2.0
    assert wave.at(np.array([-1.0, 0.5, 1.0, 1.5, 3.0])) == pytest.approx([0.0, 1.0, 5.0, 5.0, 5.0])


def test_one_row_is_a_constant() -> None:
    assert Waveform(np.zeros(1), np.array([7.0])).at(np.array([0.0, 9.0])) == pytest.approx([7.0, 7.0])


@pytest.mark.parametrize(
    ("time", "value"),
    [([0.0, 1.0], [1.0]), ([], []), ([0.0, -1.0], [1.0, 1.0]), ([1.0], [1.0]), ([0.0], [np.nan])],
)
def test_what_is_no_waveform_is_refused(time: list[float], value: list[float]) -> None:
    with pytest.raises(ValueError, match="time"):
        Waveform(np.array(time), np.array(value))
