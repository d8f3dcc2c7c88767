"""Do the stated 95 % intervals hold the truth? A small study with an analytic truth.

The study on twin records, with its table, is benchmarks/interval_coverage.py.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from railwright.measures import MEASURES

from .scene import EXACT, MODEL, RECORDER, Scene, brown_out, power_up, view

CASES = 120

SCENES: dict[str, tuple[Callable[[np.random.Generator], Scene], float, float, float | None]] = {
    "steady": (lambda rng: steady(rng.uniform(9.0, 16.0), rng.uniform(0.1, 1.0)), 0.5, 2.5, None),
    "first power": (lambda rng: charging(rng.uniform(0.8e-3, 1.2e-3), rng.uniform(0.2, 0.5)), 0.0, 0.25, 0.0),
    "brown-out": (lambda rng: brown_out(rng.uniform(7.4, 7.8), rng.uniform(8.2, 8.6)), 0.05, 5.45, None),
}


def steady(volts: float, amps: float) -> Scene:
    return Scene.of((0.0, volts, amps), (3.0, volts, amps))


def charging(capacitance: float, amps: float) -> Scene:
    """1 A into a capacitor up to 12 V, then the load's current, from 0 on."""
    full = capacitance * 12.0
    last = power_up().time[-1]
    return Scene.of(
        (-0.2, 0.0, 0.0), (0.0, 0.0, 0.0), (1e-5, 0.0, 1.0), (full, 12.0, 1.0), (full + 1e-4, 12.0, amps),
        (last, 12.0, amps),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("measure", "scene"),
    [
        ("mean_voltage", "steady"),
        ("mean_current", "steady"),
        ("mean_power", "steady"),
        ("high_state_level", "steady"),
        ("charge", "first power"),
        ("energy", "first power"),
        ("start_up_time", "first power"),
        ("turn_off_voltage", "brown-out"),
        ("turn_on_voltage", "brown-out"),
        ("low_state_level", "brown-out"),
    ],
)
def test_intervals_of_readings_hold_the_truth(measure: str, scene: str) -> None:
    make, start, end, switched_on = SCENES[scene]
    more = {"switched_on": switched_on, "restart": 8e-3}
    held = 0
    for seed in range(CASES):
        waveform = make(np.random.default_rng(seed))
        true = MEASURES[measure](view(waveform.truth(), EXACT, start, end, **more)).value
        got = MEASURES[measure](view(waveform.read(seed + 1000), MODEL, start, end, **more))
        held += got.low <= true <= got.high
    # 95 % of 120 cases is 114 give or take 2.4; beyond three of those the statement would be wrong.
    assert 107 <= held <= CASES


@pytest.mark.parametrize("measure", ["peak_current", "charge", "mean_voltage"])
def test_intervals_of_a_recorder_hold_the_truth(measure: str) -> None:
    make, start, end, switched_on = SCENES["first power"]
    held = 0
    for seed in range(CASES):
        waveform = make(np.random.default_rng(seed))
        true = MEASURES[measure](view(waveform.truth(), EXACT, start, end, switched_on=switched_on)).value
        samples = waveform.read(seed + 2000, RECORDER, every=200e-6)
        got = MEASURES[measure](view(samples, RECORDER, start, end, switched_on=switched_on))
        held += got.low <= true <= got.high
    assert 107 <= held <= CASES


def test_the_interval_is_not_wider_than_its_cause() -> None:
    """An interval of k = 2 on one bounded error would hold everything: ours stays inside the bound."""
    waveform = steady(12.0, 0.01)
    got = MEASURES["mean_current"](view(waveform.read(1), MODEL, 0.5, 2.5))
    assert (got.high - got.low) / 2.0 < MODEL.current[0].offset
