"""Fewer points, every extreme kept."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from railwright.report.decimate import decimate


def test_short_records_come_back_as_they_are() -> None:
    time, values = np.arange(10.0), np.arange(10.0) ** 2
    kept_time, kept = decimate(time, values, buckets=5)
    assert kept_time.tolist() == time.tolist()
    assert kept.tolist() == values.tolist()


def test_a_spike_of_one_sample_among_a_million_survives() -> None:
    time = np.linspace(0.0, 10.0, 1_000_000)
    values = np.zeros_like(time)
    values[123_457] = 5.0
    values[876_543] = -7.0
    kept_time, kept = decimate(time, values, buckets=500)
    assert kept.size <= 2000
    assert kept_time[np.argmax(kept)] == time[123_457]
    assert kept_time[np.argmin(kept)] == time[876_543]


def test_values_that_are_not_finite_are_left_out() -> None:
    time, kept = decimate(np.arange(4.0), np.array([1.0, np.nan, np.inf, 2.0]))
    assert time.tolist() == [0.0, 3.0]
    assert kept.tolist() == [1.0, 2.0]


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0, 1e-2), st.floats(-1e3, 1e3)), min_size=1, max_size=300),
    st.integers(1, 20),
)
def test_ends_and_extremes_are_always_kept_in_order(samples: list[tuple[float, float]], buckets: int) -> None:
    time = np.cumsum([step for step, _ in samples])
    values = np.array([value for _, value in samples])
    kept_time, kept = decimate(time, values, buckets)
    assert kept.max() == values.max()
    assert kept.min() == values.min()
    assert (kept[0], kept[-1]) == (values[0], values[-1])
    assert (np.diff(kept_time) >= 0).all()
    assert kept.size <= max(4 * buckets, 4)
