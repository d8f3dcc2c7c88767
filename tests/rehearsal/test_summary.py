"""What is kept of many cases."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from railwright.rehearsal.summary import Spread

VALUES = arrays(np.float64, st.integers(2, 200), elements=st.floats(-1e6, 1e6, allow_nan=False))


def spread_of(values: np.ndarray, first: int = 0) -> Spread:
    spread = Spread()
    spread.take(values, first, np.ones(values.size, dtype=bool))
    return spread


@given(VALUES)
def test_percentiles_are_those_of_numpy_within_a_bin(values):
    spread = spread_of(values)
    for percent in (5, 50, 95):
        expected = np.percentile(values, percent, method="inverted_cdf")
        assert spread.percentile(percent) == pytest.approx(expected, rel=2e-4, abs=1e-12)
    assert (spread.lowest, spread.highest) == (values.min(), values.max())
    assert spread.mean == pytest.approx(values.mean(), rel=1e-9, abs=1e-6)


@given(VALUES, st.integers(1, 199))
def test_parts_add_up_to_the_whole(values, cut):
    cut = min(cut, values.size - 1)
    parts = spread_of(values[:cut])
    parts.add(spread_of(values[cut:], cut))
    whole = spread_of(values)
    assert parts.bins == whole.bins
    assert (parts.lowest_case, parts.highest_case) == (whole.lowest_case, whole.highest_case)
    assert parts.count == whole.count


def test_corners_count_for_the_extremes_alone_and_what_is_not_there_not_at_all():
    spread = Spread()
    spread.take(np.array([5.0, 1.0, np.nan, 2.0]), 10, np.array([False, True, True, True]))
    assert (spread.highest, spread.highest_case) == (5.0, 10)
    assert spread.count == 2
    assert spread.percentile(100) == pytest.approx(2.0, rel=1e-4)


def test_room_does_not_grow_with_cases():
    spread, stream = Spread(), np.random.default_rng(1)
    for chunk in range(50):
        spread.take(stream.uniform(1.0, 2.0, 10_000), chunk * 10_000, np.ones(10_000, dtype=bool))
    assert spread.count == 500_000
    assert len(spread.bins) < 3500
