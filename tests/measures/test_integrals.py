"""∫ x dt over many windows at once, against quadrature of numpy's interpolation."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from railwright.measures.signal import integrals

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
