"""Deviations of played waveforms against closed forms."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar

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
    assert (found.duration, found.late, found.overshoot) == (None, None, None)
    assert (found.reached, found.settled) == (False, False)
    assert found.error == pytest.approx(2.0 * math.exp(-0.5), rel=1e-6)


def second_order(t, zeta):
    """The answer of a second-order system of 100 rad/s to a step, at t [s]."""
    damped = 100.0 * math.sqrt(1.0 - zeta**2)
    ringing = np.cos(damped * t) + zeta * 100.0 / damped * np.sin(damped * t)
    return 1.0 - np.exp(-zeta * 100.0 * t) * ringing


@pytest.mark.parametrize("zeta", [0.4, 0.6, 0.8])
@pytest.mark.parametrize("goal", [3.9, 5.4], ids=["down", "up"])
@pytest.mark.parametrize("gain", [1.0, 0.9935, 0.95], ids=["no drop", "drop of 32 mV", "drop of 250 mV"])
def test_the_states_are_the_waveforms_own_whatever_the_lead_drops(zeta, goal, gain):
    """5 V to `goal` behind a lead and a resistor, against the closed form by root finding (scipy)."""
    t = np.linspace(0.0, 1.0, 200_001)
    voltage = gain * (5.0 + (goal - 5.0) * second_order(t, zeta))
    found = edge(Asked(0.0, 5.0, goal, 0.0, 1.0), t, voltage)
    peak = -minimize_scalar(lambda x: -second_order(x, zeta), bounds=(0.0, 0.1), method="bounded").fun
    first = {
        part: brentq(lambda x, part=part: second_order(x, zeta) - part, 0.0, 0.031)
        for part in (0.1, 0.5, 0.9)
    }
    assert (found.before, found.after) == pytest.approx((gain * 5.0, gain * goal), abs=1e-9)
    assert found.settled
    assert found.duration == pytest.approx(first[0.9] - first[0.1], abs=1e-6)
    assert found.late == pytest.approx(first[0.5], abs=1e-6)
    assert found.overshoot == pytest.approx(peak - 1.0, abs=1e-5)
    assert found.error == pytest.approx((gain - 1.0) * goal, abs=1e-9)


@pytest.mark.parametrize(("stay", "settled"), [(3.0, False), (4.5, False), (7.0, True), (20.0, True)])
def test_a_lag_that_has_not_come_to_rest_is_said_not_to_be_settled(stay, settled):
    """Stays in time constants; after 7 of them it is 0.1 % away from where it goes."""
    time, voltage = lag(0.05, end=1.0 + stay * 0.05)
    found = edge(Asked(1.0, 0.0, 2.0, 0.0, 1.0 + stay * 0.05), time, voltage)
    assert found.reached
    assert found.settled is settled
    if settled:
        assert found.duration == pytest.approx(math.log(9.0) * 0.05, rel=0.01)


def test_one_that_creeps_on_after_a_quick_beginning_is_not_settled():
    t = np.linspace(0.0, 1.0, 100_001)
    creeping = 8.5 * -np.expm1(-t / 1e-3) + 1.5 * -np.expm1(-t / 0.5)
    assert not edge(Asked(0.0, 0.0, 10.0, 0.0, 1.0), t, creeping).settled


def test_a_voltage_that_did_not_get_to_where_the_edge_begins_has_the_transition_that_is_left():
    time, voltage = lag(0.05, start=9.0, goal=12.0)
    found = edge(Asked(1.0, 0.0, 12.0, 0.0, 3.0), time, voltage)
    assert found.reached
    assert found.before == 9.0
    assert found.duration == pytest.approx(math.log(9.0) * 0.05, rel=1e-4)


def test_a_voltage_that_rises_and_collapses_has_not_got_there():
    found = edge(Asked(0.0, 5.0, 12.0, 0.0, 4.0), np.arange(5.0), np.array([5.0, 12.0, 0.0, 0.0, 0.0]))
    assert (found.reached, found.duration, found.overshoot) == (False, None, None)


@pytest.mark.parametrize("moved", [-2e-3, -1e-3, 0.0, 1e-3])
def test_an_edge_that_a_list_plays_early_is_told_with_its_states(moved):
    """A jump at 1 s that comes as a line of 1 ms, moved; and another at 2 s, moved likewise."""
    at = 1.0 + moved
    time = np.array([0.0, at, at + 1e-3, at + 1.0, at + 1.001, 4.0])
    found = edge(Asked(1.0, 12.0, 9.0, 0.0, 2.0), time, np.array([12.0, 12.0, 9.0, 9.0, 5.0, 5.0]), 3e-3)
    assert (found.before, found.after, found.settled) == (12.0, 9.0, True)
    assert found.late == pytest.approx(moved + 0.5e-3)
    assert found.duration == pytest.approx(0.8e-3)


def test_overshoot_is_that_of_a_second_order_answer():
    """exp(−πζ/√(1−ζ²)) of the change."""
    zeta = 0.3
    t = np.linspace(0.0, 1.0, 100_001)
    answer = second_order(t, zeta)
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
    assert (found.reached, found.duration, found.overshoot, found.error) == (True, None, None, 0.0)


def test_a_trace_without_rows_is_refused():
    with pytest.raises(ValueError, match="rows"):
        deviation(STEP, np.array([]), np.array([]))
