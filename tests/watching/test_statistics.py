"""Statistics in constant memory against numpy, which has all the values."""

from __future__ import annotations

import math

import numpy as np
import pytest

from railwright.watching.statistics import MOST_CELLS, PERCENTILES, Histogram, Statistics

GENERATOR = np.random.default_rng(7)

DRAWN = {
    "a rail that is regulated": np.round(GENERATOR.normal(12.0, 2e-3, 20_000), 3),
    "below and above 0": GENERATOR.normal(0.0, 0.5, 20_000),
    "an inrush among nothing": np.concatenate([np.zeros(5_000), [38.0], np.full(4_999, 0.01)]),
    "a discharge over decades": 12.0 * np.exp(-np.arange(20_000) / 1500.0),
    "two levels": np.tile([3.3, 5.0, 5.0], 4_000),
    "negative alone": -np.abs(GENERATOR.normal(0.2, 0.05, 5_000)),
    "one value": np.full(10, 4.7),
}


@pytest.mark.parametrize("values", DRAWN.values(), ids=DRAWN)
def test_statistics_are_those_of_all_values(values: np.ndarray) -> None:
    found = Statistics()
    for value in values:
        found.add(float(value))
    assert found.count == values.size
    assert (found.minimum, found.maximum) == (values.min(), values.max())
    assert found.mean == pytest.approx(values.mean(), rel=1e-11, abs=1e-12)
    assert found.rms == pytest.approx(math.sqrt(np.mean(values**2)), rel=1e-11)
    for number in PERCENTILES:
        exact = np.percentile(values, number, method="inverted_cdf")
        assert abs(found.percentile(number) - exact) <= found.percentile_error * (1 + 1e-9)


@pytest.mark.parametrize("values", DRAWN.values(), ids=DRAWN)
def test_the_cells_are_bounded_and_so_is_the_error(values: np.ndarray) -> None:
    histogram = Histogram()
    for value in values:
        histogram.add(float(value))
    assert len(histogram._cells) <= MOST_CELLS
    # With all of them between the lowest and the highest, half of the cells would be in use at least.
    assert histogram.error <= max(2.0**-21, 2.0 * float(np.ptp(values)) / MOST_CELLS)


def test_one_far_value_makes_the_others_no_coarser() -> None:
    near, far = Histogram(), Histogram()
    for number in range(900):
        near.add(5.0 + number * 1e-6)
        far.add(5.0 + number * 1e-6)
    far.add(-3e4)
    assert far.error == near.error


def test_what_is_no_number_is_counted_apart() -> None:
    found = Statistics()
    for value in (1.0, math.inf, math.nan, 3.0):
        found.add(value)
    assert (found.count, found.beyond, found.mean) == (2, 2, 2.0)


def test_nothing_read_has_no_figures() -> None:
    assert Statistics().as_data() == {"readings": 0, "beyond_range": 0}
    assert math.isnan(Statistics().percentile(50))
