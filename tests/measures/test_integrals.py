"""∫ x dt over many windows at once, against quadrature of numpy's interpolation; lines against scipy's."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import linregress

from railwright.measures.signal import integrals
from railwright.measures.turning import line_through, line_weights

levels = st.floats(-50.0, 50.0)
gaps = st.lists(st.floats(1e-3, 2.0), min_size=0, max_size=12)


@given(gaps, st.data())
@settings(max_examples=60, deadline=None)
def test_integrals_equal_quadrature_of_straight_lines_held_at_their_ends(apart, data):
    time = np.concatenate(([0.0], np.cumsum(apart)))
    values = np.array(data.draw(st.lists(levels, min_size=time.size, max_size=time.size)))
    start = data.draw(st.floats(-3.0, float(time[-1]) + 2.0))
    end = start + data.draw(st.floats(1e-3, 5.0))
    corners = [each for each in time if start < each < end]
    parts = [start, *corners, end]
    truth = sum(
        quad(lambda t: np.interp(t, time, values), one, two)[0] for one, two in itertools.pairwise(parts)
    )
    found = integrals(time, values, np.array([start, end]), np.array([end, end]))
    assert found[0] == pytest.approx(truth, rel=1e-9, abs=1e-9)
    assert found[1] == 0.0


@given(st.lists(st.tuples(st.floats(1e-3, 2.0), levels), min_size=2, max_size=12), st.floats(-3.0, 30.0))
@settings(max_examples=60, deadline=None)
def test_a_line_is_that_of_linear_regression(apart, instant):
    time, values = np.cumsum([each[0] for each in apart]), np.array([each[1] for each in apart])
    truth = linregress(time, values)
    slope, beside = line_through(time, values)
    assert slope == pytest.approx(truth.slope, rel=1e-6, abs=1e-6)
    assert beside == pytest.approx(values - truth.intercept - truth.slope * time, rel=1e-6, abs=1e-6)
    at = float(np.sum(line_weights(time, instant) * values))
    assert at == pytest.approx(truth.intercept + truth.slope * instant, rel=1e-6, abs=1e-5)
