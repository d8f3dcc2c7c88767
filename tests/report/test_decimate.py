"""Fewer points, every extreme kept."""

from __future__ import annotations

import math

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


def kept_by_hand(time: list[float], values: list[float], buckets: int) -> list[tuple[float, float]]:
    """The same, sample by sample, in plain Python."""
    samples = [pair for pair in zip(time, values, strict=True) if math.isfinite(pair[1])]
    if len(samples) <= 4 * buckets:
        return samples
    edges = np.linspace(samples[0][0], samples[-1][0], buckets + 1)[1:-1].tolist()
    stretches: dict[int, list[int]] = {}
    for place, (instant, _) in enumerate(samples):
        stretches.setdefault(sum(edge <= instant for edge in edges), []).append(place)
    kept: set[int] = set()
    for places in stretches.values():
        lowest = min(places, key=lambda place: samples[place][1])
        highest = max(places, key=lambda place: samples[place][1])
        kept |= {places[0], lowest, highest, places[-1]}
    return [samples[place] for place in sorted(kept)]


VALUES = st.one_of(
    st.floats(-1e3, 1e3),
    st.sampled_from([-2.0, 0.0, 2.0]),  # equal extremes
    st.sampled_from([math.nan, math.inf, -math.inf]),
)


@settings(max_examples=300, deadline=None)
@given(
    st.lists(st.tuples(st.one_of(st.just(0.0), st.floats(0, 1e-2)), VALUES), max_size=200),
    st.integers(1, 12),
)
def test_it_keeps_what_a_plain_loop_keeps(samples: list[tuple[float, float]], buckets: int) -> None:
    time = np.cumsum([step for step, _ in samples])
    values = np.array([value for _, value in samples])
    kept_time, kept = decimate(time, values, buckets)
    by_hand = kept_by_hand(time.tolist(), values.tolist(), buckets)
    assert list(zip(kept_time.tolist(), kept.tolist(), strict=True)) == by_hand
