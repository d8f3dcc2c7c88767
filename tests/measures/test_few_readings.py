"""State levels of steps that few readings lie in, and drop-outs before a load has run. The truth is what the
scene holds, in closed form (common practice, no source).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.measures.scene import MODEL, Scene, view

from railwright.measures.outcome import CannotMeasure
from railwright.measures.restarts import restarts
from railwright.measures.state_level import high_state_level, low_state_level
from railwright.traces import Mode, Traces


def stairs(levels: tuple[float, ...], dwell: float) -> Scene:
    """12 V, from 0 s on each level for its dwell, and 12 V again."""
    corners = [(-0.5, 12.0, 0.3), (0.0, 12.0, 0.3)]
    for number, level in enumerate(levels):
        corners += [(number * dwell + 1e-4, level, 0.3), ((number + 1) * dwell, level, 0.3)]
    end = len(levels) * dwell
    return Scene.of(*corners, (end + 1e-4, 12.0, 0.3), (end + 0.5, 12.0, 0.3))


@pytest.mark.parametrize("every", [5e-3, 10e-3, 20e-3])
@pytest.mark.parametrize("levels", [(8.5, 9.5, 10.5, 11.5, 12.5), (15.0, 6.0, 14.0), (6.0, 9.0)])
@pytest.mark.parametrize("measure", [high_state_level, low_state_level])
def test_one_reading_that_is_asked_often_is_no_level(every, levels, measure) -> None:
    """A mean over 40 ms of steps of 25 ms was told as a level that the voltage had: 10.92 V for 12.5 V."""
    model = replace(MODEL, update=50e-3, aperture=40e-3)
    traces = stairs(levels, 25e-3).read(3, model, every)
    with pytest.raises(CannotMeasure, match=r"fewer than 3 readings|holds 2 values"):
        measure(view(traces, model, 0.0, 25e-3 * len(levels)))


@pytest.mark.parametrize("every", [5e-3, 10e-3, 50e-3])
@pytest.mark.parametrize("level", [6.0, 9.0, 14.0])
def test_a_level_that_three_readings_show_is_told(every: float, level: float) -> None:
    model = replace(MODEL, update=50e-3, aperture=40e-3)
    traces = stairs((level,), 0.4).read(4, model, every)
    for measure in (high_state_level, low_state_level):
        found = measure(view(traces, model, 0.0, 0.4))
        assert found.low <= level <= found.high


@pytest.mark.parametrize("starts", [14.0, 15.0, 18.0])
@pytest.mark.parametrize("charging", [6e-3, 12e-3, 25e-3])
@pytest.mark.parametrize("seed", [1, 2])
def test_what_charges_an_input_is_no_load_that_has_run(starts: float, charging: float, seed: int) -> None:
    """A converter that starts once, while its input is charged: a constant current of C dV/dt before was as
    much as half of its usual one in proportion to the voltage, and its start a restart.
    """
    rise = 24.0 / 0.12
    begins = starts / rise
    scene = Scene.of(
        (-0.2, 0.0, 0.0), (0.0, 0.0, 0.0), (1e-4, 0.02, charging), (begins, starts, charging),
        (begins + 1e-4, starts + 0.02, charging + 0.07), (0.12, 24.0, charging + 0.05),
        (0.1201, 24.0, 0.05), (0.5, 24.0, 0.05),
    )  # fmt: skip
    seen = view(
        scene.read(seed), MODEL, 0.0, 0.3, switched_on=0.0, supplied=(0.0, 1e9), stops_at=(12.6, 13.3),
        capacitance=(3e-5, 1.3e-4),
    )  # fmt: skip
    assert restarts(seen).value == 0.0


def mode_of_half(scene: Scene, end: float, high: bool) -> float:
    """IEEE 181's level of the true waveform: the median of the values in the fullest of the upper (lower) 50
    of 100 bins and the two beside it, of 100,001 values.
    """
    values = scene.at(np.linspace(0.0, end, 100_001), "voltage")
    counts, edges = np.histogram(values, 100)
    first = 50 if high else 0
    fullest = first + int(np.argmax(counts[first : first + 50]))
    low, top = edges[max(first, fullest - 1)], edges[min(first + 50, fullest + 2)]
    return float(np.median(values[(values >= low) & (values <= top)]))


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("peak", [0.3, 0.6, 1.0])
@pytest.mark.parametrize("low", [0.0, 4.3])
def test_the_crest_of_a_ripple_is_known_no_better_than_its_values_lie_apart(
    peak: float, low: float, seed: int
) -> None:
    """A sine of 9.3 Hz around 12 V for 0.5 s, then a low level: the upper level lies on the crest, where few
    values are alike. It was told to ±8 mV, and off by 50 mV.
    """
    time = np.linspace(0.0, 0.5, 501)
    sine = [(t, 12.0 + peak * math.sin(2 * math.pi * 9.3 * t), 0.3) for t in time.tolist()]
    scene = Scene.of(
        (-0.5, 12.0, 0.3), *sine, (0.5001, low, 0.3), (0.7, low, 0.3), (0.7001, 12.0, 0.3), (1.2, 12.0, 0.3)
    )
    try:
        found = high_state_level(view(scene.read(seed), MODEL, 0.0, 0.7))
    except CannotMeasure:
        return
    assert found.low <= mode_of_half(scene, 0.7, True) <= found.high


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("constant", [4e-3, 8e-3, 20e-3])
def test_a_decay_is_known_no_better_than_its_values_lie_apart(constant: float, seed: int) -> None:
    """Off for 0.1 s: exp(-t / 4 ms) and slower; the readings nearest 0 V are still on their way there."""
    decay = [(0.3 + t, 16.0 * math.exp(-t / constant), 0.3) for t in np.linspace(0.0, 0.1, 201).tolist()]
    scene = Scene.of(
        (-0.5, 16.0, 0.3),
        (0.3, 16.0, 0.3),
        *decay[1:],
        (0.4001, 16.0, 0.3),
        (0.6, 16.0, 0.3),
        (1.0, 16.0, 0.3),
    )
    model = replace(MODEL, update=20e-3, aperture=16e-3)
    try:
        found = low_state_level(view(scene.read(seed, model, 10e-3), model, 0.0, 0.6))
    except CannotMeasure:
        return
    # The error of readings is within 6 mV; an interval of 95 % covers 5.7 mV of it.
    assert found.low - 0.3e-3 <= mode_of_half(scene, 0.6, False) <= found.high + 0.3e-3


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("period", [2.3e-3, 5.1e-3])
def test_a_mean_of_what_swings_is_no_level(seed: int, period: float) -> None:
    """A load that starts and stops takes its input from 5 V to 4.1 V and back; readings over 40 ms are means
    of it, all alike, and were told as a level: 4.786 V where 4.993 V is. Their supply's status shows it.
    """
    corners = [(-0.5, 5.0, 0.4)]
    for number in range(int(1.0 / period)):
        start = number * period
        corners += [(start, 5.0, 0.4), (start + 0.6 * period, 5.0, 0.4), (start + 0.8 * period, 4.1, 0.4)]
    scene = Scene.of(*corners, (1.2, 5.0, 0.4))
    model = replace(MODEL, update=50e-3, aperture=40e-3)
    traces = scene.read(seed, model, 10e-3)
    limited = np.random.default_rng(seed).random(traces.time.size) < 0.2
    with pytest.raises(CannotMeasure, match="into its limit"):
        high_state_level(view(with_modes(traces, limited), model, 0.0, 1.0))


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("edges", [(0.0,), (0.0, 0.5)])
def test_a_level_that_is_reached_in_the_limit_is_one(seed: int, edges: tuple[float, ...]) -> None:
    """From 4 V to 5 V at 50 V/s, in the limit for the charging."""
    corners = [(-0.5, 4.0, 0.4)]
    for edge in edges:
        corners += [
            (edge, 4.0, 0.4),
            (edge + 0.02, 5.0, 0.4),
            (edge + 0.4, 5.0, 0.4),
            (edge + 0.41, 4.0, 0.4),
        ]
    traces = Scene.of(*corners, (1.2, 4.0, 0.4)).read(seed)
    limited = np.any([(traces.time > edge) & (traces.time < edge + 0.04) for edge in edges], axis=0)
    found = high_state_level(view(with_modes(traces, limited), MODEL, 0.0, 1.0))
    assert found.low <= 5.0 <= found.high


def with_modes(traces: Traces, limited: np.ndarray) -> Traces:
    """Readings with the supply's status beside them."""
    modes = np.where(limited, Mode.CC, Mode.CV).astype(float)
    return Traces(traces.time, {**traces.columns, "mode": modes})
