"""Waveforms as columns: the same waveforms when they are read back."""

import numpy as np
import pytest

from railwright.waveforms.columns import on_one_time_base
from railwright.waveforms.fit import deviation
from railwright.waveforms.waveform import Waveform


def wave(*rows):
    time, value = zip(*rows, strict=True)
    return Waveform(np.array(time, float), np.array(value, float))


def test_jumps_have_two_rows_and_lines_are_met():
    waves = {
        "a": wave((0, 12), (0, 8), (1, 8), (1, 12), (3, 12)),
        "b": wave((0, 1), (2, 5), (2.5, 5)),
    }
    columns = on_one_time_base(waves)
    assert columns["time_s"].tolist() == [0, 0, 1, 1, 2, 2.5, 3]
    assert columns["a"].tolist() == [12, 8, 8, 12, 12, 12, 12]
    assert columns["b"].tolist() == [1, 1, 3, 3, 5, 5, 5]


@pytest.mark.parametrize("seed", range(5))
def test_read_back_they_are_the_same(seed):
    draw = np.random.default_rng(seed)
    waves = {}
    for name in "abc":
        time = np.sort(np.round(draw.uniform(0, 5, 40), 1))
        waves[name] = Waveform(np.concatenate(([0.0], time)), draw.normal(size=41))
    columns = on_one_time_base(waves)
    for name, each in waves.items():
        back = Waveform(columns["time_s"], columns[name])
        assert deviation(each, back) < 1e-12
