"""Deviations of played waveforms against closed forms."""

import math

import numpy as np
import pytest

from railwright.waveforms.deviation import Asked, deviation, edge
from railwright.waveforms.waveform import Waveform

STEP = Waveform(np.array([0.0, 1.0, 1.0, 3.0]), np.array([0.0, 0.0, 2.0, 2.0]))


def lag(tau, start=0.0, goal=2.0, at=1.0, end=3.0):
    """A first-order answer to a step."""
    time = np.concatenate(([0.0], np.linspace(at, end, 40_001)))
    return time, np.where(time < at, start, goal + (start - goal) * np.exp(-(time - at) / tau))


def test_largest_and_rms_of_a_ramp_against_a_step():
    """A ramp of 1 s behind a step of 2 V: 2 V at once, and the r.m.s. of a triangle over 3 s."""
    found = deviation(STEP, np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.0, 0.0, 2.0, 2.0]))
    assert (found.largest, found.at) == (-2.0, 1.0)
    assert found.rms == pytest.approx(math.sqrt(4.0 / 3.0 / 3.0), rel=1e-12)


def test_nothing_is_asked_while_the_output_is_off():
    found = deviation(STEP, np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.0, 0.0, 2.0, 2.0]), [(1.0, 2.0)])
    assert (found.largest, found.rms) == (0.0, 0.0)


def test_a_lags_transition_takes_ln_9_time_constants():
    time, voltage = lag(0.05)
    found = edge(Asked(1.0, 0.0, 2.0, 0.0, 3.0), time, voltage)
    assert found.duration == pytest.approx(math.log(9.0) * 0.05, rel=1e-4)
    assert found.late == pytest.approx(math.log(2.0) * 0.05, rel=1e-4)
    assert found.overshoot == 0.0
    assert found.error == pytest.approx(0.0, abs=1e-9)
    assert found.asked_duration == 0.0


def test_a_falling_edge_that_comes_not_far_enough_has_no_duration_but_an_error():
    time, voltage = lag(1.0, 2.0, 0.0, 1.0, 1.5)
    found = edge(Asked(1.0, 2.0, 0.0, 0.0, 1.5), time, voltage)
    assert found.duration is None
    assert found.late is None
    assert found.error == pytest.approx(2.0 * math.exp(-0.5), rel=1e-6)


def test_overshoot_is_that_of_a_second_order_answer():
    """exp(−πζ/√(1−ζ²)) of the change."""
    zeta, omega = 0.3, 100.0
    t = np.linspace(0.0, 1.0, 100_001)
    damped = omega * math.sqrt(1 - zeta**2)
    answer = 1.0 - np.exp(-zeta * omega * t) * (
        np.cos(damped * t) + zeta / math.sqrt(1 - zeta**2) * np.sin(damped * t)
    )
    expected = math.exp(-math.pi * zeta / math.sqrt(1 - zeta**2))
    up = edge(Asked(0.0, 0.0, 5.0, 0.0, 1.0), t, 5.0 * answer)
    down = edge(Asked(0.0, 5.0, 0.0, 0.0, 1.0), t, 5.0 - 5.0 * answer)
    assert up.overshoot == pytest.approx(expected, rel=1e-3)
    assert down.overshoot == pytest.approx(expected, rel=1e-3)
    assert up.duration == pytest.approx(down.duration)


def test_a_line_that_is_followed_is_neither_late_nor_off():
    found = edge(
        Asked(1.0, 0.0, 2.0, 0.5, 3.0), np.array([0.0, 1.0, 1.5, 3.0]), np.array([0.0, 0.0, 2.0, 2.0])
    )
    assert found.duration == pytest.approx(0.4) == found.asked_duration
    assert found.late == pytest.approx(0.0, abs=1e-12)


def test_no_way_to_go_has_no_duration():
    found = edge(Asked(0.0, 12.0, 6.0, 0.0, 1.0), np.array([0.0, 1.0]), np.array([6.05, 6.0]))
    assert (found.duration, found.error) == (None, 0.0)


def test_a_trace_without_rows_is_refused():
    with pytest.raises(ValueError, match="rows"):
        deviation(STEP, np.array([]), np.array([]))
