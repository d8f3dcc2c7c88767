"""Waveforms in fewer lines: within the tolerance, and their jumps kept."""

import numpy as np
import pytest

from railwright.waveforms.fit import deviation
from railwright.waveforms.reduced import reduced
from railwright.waveforms.waveform import Waveform


@pytest.mark.parametrize("tolerance", [0.003, 0.03, 0.3])
def test_it_stays_within_the_tolerance_and_keeps_jumps(tolerance):
    draw = np.random.default_rng(7)
    time = np.sort(np.concatenate((np.linspace(0.0, 10.0, 2001), [2.0, 5.0, 5.0, 10.0])))
    value = (
        np.sin(time) + 0.001 * draw.normal(size=time.size) + np.where(np.arange(time.size) > 1000, 2.0, 0.0)
    )
    wave = Waveform(time, value)
    made = reduced(wave, tolerance)
    assert deviation(wave, made) <= tolerance * (1 + 1e-9)
    assert made.time.size < 0.7 * wave.time.size
    assert made.duration == wave.duration


def test_a_staircase_is_kept_as_it_is():
    wave = Waveform(np.array([0.0, 1.0, 1.0, 2.0, 2.0, 3.0]), np.array([1.0, 1.0, 5.0, 5.0, 2.0, 2.0]))
    made = reduced(wave, 0.01)
    assert made.time.tolist() == wave.time.tolist()
    assert made.value.tolist() == wave.value.tolist()


def test_no_tolerance_is_refused():
    with pytest.raises(ValueError, match="tolerance"):
        reduced(Waveform(np.array([0.0, 1.0]), np.array([0.0, 1.0])), 0.0)
