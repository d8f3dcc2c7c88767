"""A recording that is noisier than its recorder is said to be: what it shows counts.

The truth is the waveform that the samples are made of, plus normal noise of a known r.m.s.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.measures.scene import RECORDER

from railwright.measures import MEASURES
from railwright.measures.signal import View
from railwright.traces import Traces

SEEDS = 100


def recorded(wave: str, noise: float, declared: float, seed: int) -> tuple[View, float]:
    """A view of two seconds of current, sampled at 5 kHz, and its true peak [A]."""
    time = np.arange(0.0, 2.0, 2e-4)
    true = {
        "flat": np.full(time.size, 0.4),
        "pulse": 0.3 + 0.2 * np.exp(-(((time - 1.0) / 0.1) ** 2)),
        "ripple": 0.5 + 0.05 * np.sin(2.0 * np.pi * 10.0 * time),
    }[wave]
    values = true + np.random.default_rng(seed).normal(0.0, noise, time.size)
    part = replace(RECORDER.current[0], of_value=0.0, offset=1e-5, resolution=1e-6, noise=declared)
    model = replace(RECORDER, current=(part,))
    return View(Traces(time, {"current": values}), model, 0.0, 2.0), float(true.max())


@pytest.mark.parametrize("wave", ["flat", "pulse", "ripple"])
@pytest.mark.parametrize(("noise", "declared"), [(1e-3, 1e-4), (5e-3, 1e-4), (1e-4, 1e-4), (1e-4, 1e-3)])
def test_the_peak_is_where_its_interval_says(wave: str, noise: float, declared: float) -> None:
    inside = 0
    for seed in range(SEEDS):
        view, true = recorded(wave, noise, declared, seed)
        found = MEASURES["peak_current"](view)
        assert wave == "flat" or not found.unseen
        inside += found.low <= true <= found.high
    # Fewer than 88 of 100 come up with a probability of 0.2 % where 95 % are stated (binomial).
    assert inside >= 88


@pytest.mark.parametrize(("noise", "told"), [(1e-3, True), (1e-4, False)])
def test_it_is_told(noise: float, told: bool) -> None:
    view, _ = recorded("ripple", noise, 1e-4, 1)
    assert any("shows a noise" in line for line in MEASURES["peak_current"](view).assumptions) is told
