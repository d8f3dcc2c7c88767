"""The reading model: apertures, errors, grid, latency."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.twin.bench import BENCH, AtHand

from railwright.documents.output_name import OutputName
from railwright.twin.readings import Meter, Timing, timing_of, window_means
from railwright.twin.truth import OutputTruth, SystematicError, Truth

EXACT = SystematicError(0.0, 0.0, 0.0, 0.0)


def truth(voltage: SystematicError = EXACT, current: SystematicError = EXACT) -> OutputTruth:
    return OutputTruth(EXACT, EXACT, voltage, current, 0.0, 0.0)


def window_mean(time: np.ndarray, values: np.ndarray, start: float, end: float) -> float:
    """Of one trace."""
    return window_means(time, (values,), start, end)[0]


@given(st.integers(0, 10_000), st.floats(-0.5, 1.5), st.floats(1e-3, 1.0))
def test_the_mean_is_the_area_by_numpy_over_the_width(seed: int, start: float, width: float) -> None:
    """Of traces with jumps, also where the window reaches beyond their ends."""
    draw = np.random.default_rng(seed)
    time = np.sort(draw.choice(np.linspace(0.0, 1.0, 12), int(draw.integers(1, 12))))
    columns = draw.normal(size=(2, time.size))
    end = start + width
    inside = (time > start) & (time < end)
    at = np.concatenate(([start], time[inside], [end]))
    for got, values in zip(window_means(time, columns, start, end), columns, strict=True):
        if np.any(np.isin([start, end], time)):
            continue  # which side of a jump an end takes makes no area, and is not np.interp's choice
        level = np.concatenate(
            ([np.interp(start, time, values)], values[inside], [np.interp(end, time, values)])
        )
        assert got == pytest.approx(np.trapezoid(level, at) / width, rel=1e-9, abs=1e-9)


@given(st.floats(0.0, 1.0), st.floats(0.001, 1.0))
def test_the_mean_of_a_ramp_is_its_middle(start: float, width: float) -> None:
    time = np.array([0.0, 0.3, 2.0])
    assert window_mean(time, 5.0 * time, start, start + width) == pytest.approx(5.0 * (start + width / 2))


def test_the_mean_over_a_jump_weighs_both_sides() -> None:
    time, values = np.array([0.0, 1.0, 1.0, 2.0]), np.array([0.0, 0.0, 10.0, 10.0])
    assert window_mean(time, values, 0.5, 2.0) == pytest.approx(10.0 / 1.5)


def test_the_mean_of_a_pulse_between_readings_is_its_area() -> None:
    time, values = np.array([0.0, 0.4, 0.4, 0.41, 0.41, 1.0]), np.array([0.0, 0.0, 3.0, 3.0, 0.0, 0.0])
    assert window_mean(time, values, 0.0, 1.0) == pytest.approx(0.03)


def test_one_row_in_a_window_is_its_mean() -> None:
    assert window_mean(np.array([0.5]), np.array([3.0]), 0.0, 1.0) == 3.0


def test_a_window_without_width_is_the_value_itself() -> None:
    assert window_mean(np.array([0.0, 1.0]), np.array([0.0, 2.0]), 0.25, 0.25) == 0.5


def test_a_reading_has_its_errors_and_its_grid() -> None:
    meter = Meter("x", Timing(0.01, 0.008, 0.003, 0.02), truth(SystematicError(0.01, 0.5, 0.1, 0.0)), 1)
    reading = meter.take(np.array([0.0, 1.0]), np.array([10.0, 10.0]), np.array([1.0, 1.0]))
    assert (reading.voltage, reading.current) == (pytest.approx(10.6), pytest.approx(1.0))
    assert (reading.start, reading.end, reading.available) == pytest.approx((0.012, 0.02, 0.023))
    assert meter.next_due == pytest.approx(0.03)


def test_noise_has_its_size_and_no_offset() -> None:
    meter = Meter("x", Timing(1.0, 0.0, 0.0, 0.0), truth(SystematicError(0.0, 0.0, 0.0, 0.2)), 1)
    time = np.array([0.0, 1e9])
    values = [meter.take(time, np.zeros(2), np.zeros(2)).voltage for _ in range(2000)]
    assert np.std(values) == pytest.approx(0.2, rel=0.06)
    assert abs(np.mean(values)) < 0.02


def test_unknown_timing_is_assumed_aloud() -> None:
    known, unknown = Truth(1), Truth(1)
    assert timing_of("left.1", BENCH.output(OutputName("left.1")), known, 0.5) == Timing(
        0.01, 0.008, 0.003, pytest.approx(0.013)
    )
    timing = timing_of("right.1", BENCH.output(OutputName("right.1")), unknown, 0.0)
    assert timing.aperture == timing.update
    assert (len(known.assumptions.all()), len(unknown.assumptions.all())) == (0, 3)


def test_a_twin_hands_over_what_ended_between_latency_and_an_update_more_ago() -> None:
    left = AtHand("left")
    ages = []
    for _ in range(40):
        left.wait(0.0037)
        reading = left.plant.reading("left.1")
        assert reading is not None
        ages.append(left.plant.time - reading.end)
    assert 0.003 <= min(ages) < 0.005
    assert 0.011 < max(ages) <= 0.013 + 1e-9
