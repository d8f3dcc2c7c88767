"""Shapes as moves: what each piece plays, and how close the chords keep to sines and exponentials."""

import math

import numpy as np
import pytest

from railwright.waveforms.shapes import (
    CHORD_ERROR,
    CHORDS,
    Exponential,
    Hold,
    Jump,
    Limit,
    Line,
    Off,
    Repeat,
    Ripple,
    Wait,
    count_of,
    duration_of,
    flat,
    moves,
)


def played(pieces, level=0.0):
    """Moves as (time, kind, value, over), and the end."""
    found = list(moves(pieces, level))
    assert found[-1].kind == "end"
    return [tuple(move[:4]) for move in found[:-1]], found[-1].time


def corners(pieces, level):
    """Times and values of the set point at the corners of what is played."""
    lines, end = played(pieces, level)
    time, value = [0.0], [level]
    for at, kind, goal, over in lines:
        assert kind == "line"
        time += [at, at + over]
        value += [value[-1], goal]
    return np.array([*time, end]), np.array([*value, value[-1]])


def test_steps_lines_and_holds_follow_each_other():
    lines, end = played([Jump(12.0), Hold(0.5), Line(6.0, 0.2), Hold(0.1), Jump(9.0)])
    assert lines == [
        (0.0, "line", 12.0, 0.0),
        (0.5, "line", 6.0, 0.2),
        (pytest.approx(0.8), "line", 9.0, 0.0),
    ]
    assert end == pytest.approx(0.8)


def test_an_exponential_keeps_to_its_chords_error_and_ends_where_it_is():
    piece = Exponential(2.0, 0.05, 0.2)
    time, value = corners([piece], 12.0)
    fine = np.linspace(0.0, 0.2, 20_001)
    exact = 2.0 + 10.0 * np.exp(-fine / 0.05)
    assert np.abs(np.interp(fine, time, value) - exact).max() <= CHORD_ERROR * 10.0 * 1.02
    assert value[-1] == pytest.approx(2.0 + 10.0 * math.exp(-4.0))
    assert len(played([piece], 12.0)[0]) <= count_of([piece])


def test_a_sine_keeps_to_the_stated_error_and_meets_its_peaks():
    time, value = corners([Ripple("sine", 2.0, 50.0, 0.1)], 12.0)
    fine = np.linspace(0.0, 0.1, 64 * 5 * 100 + 1)
    error = np.abs(np.interp(fine, time, value) - (12.0 + np.sin(2 * np.pi * 50.0 * fine))).max()
    assert error == pytest.approx((1.0 - math.cos(math.pi / CHORDS)) * math.cos(math.pi / CHORDS), rel=1e-6)
    assert error < CHORD_ERROR * 2.0
    assert (value.max(), value.min()) == (13.0, 11.0)
    assert value[-1] == 12.0


@pytest.mark.parametrize("form", ["sine", "trapezoid"])
def test_a_ripple_that_ends_within_a_period_goes_back_to_its_level(form):
    piece = Ripple(form, 2.0, 10.0, 0.133, 0.01)
    time, value = corners([piece, Hold(0.1)], 5.0)
    assert time[-1] == pytest.approx(0.233)
    assert time[-3] == pytest.approx(0.133)
    assert value[-1] == 5.0
    assert len(played([piece], 5.0)[0]) <= count_of([piece])


def test_a_trapezoid_has_its_edges_and_its_level():
    time, value = corners([Ripple("trapezoid", 1.0, 10.0, 0.1, 0.02, on=6.0)], 12.0)
    at = dict(zip(np.round(time, 6), np.round(value, 6), strict=True))
    assert at == {0.0: 6.0, 0.01: 6.5, 0.04: 6.5, 0.06: 5.5, 0.09: 5.5, 0.1: 6.0}


def test_without_edges_a_trapezoid_jumps():
    lines, _ = played([Ripple("trapezoid", 1.0, 10.0, 0.1)], 6.0)
    assert [(round(t, 6), v, over) for t, _, v, over in lines] == [(0, 6.5, 0), (0.05, 5.5, 0), (0.1, 6.0, 0)]


def test_off_comes_on_again_at_the_voltage_it_had():
    lines, end = played([Jump(12.0), Off(0.03), Hold(1.0)])
    assert [each[1:3] for each in lines] == [("line", 12.0), ("off", 0.0), ("on", 0.0), ("line", 12.0)]
    assert lines[2][0] == 0.03
    assert end == pytest.approx(1.03)


def test_repeats_nest_and_pause_between():
    inner = Repeat((Jump(1.0), Hold(0.1)), 2, 0.05)
    lines, end = played([Repeat((inner, Jump(0.0)), 3, 1.0)])
    assert len(lines) == 9 == count_of([Repeat((inner, Jump(0.0)), 3, 1.0)])
    assert [round(each[0], 6) for each in lines[:4]] == [0.0, 0.15, 0.25, 1.25]
    assert end == pytest.approx(2.75) == duration_of([Repeat((inner, Jump(0.0)), 3, 1.0)])


def test_limits_and_waits_take_no_time_and_paths_say_where():
    pieces = [Hold(0.1), Repeat((Wait("key", 3.0), Limit(0.5), Jump(2.0)), 1)]
    found = list(moves(pieces, 0.0))
    assert [(move.kind, move.path, move.time) for move in found[:-1]] == [
        ("wait", (1, 0), 0.1),
        ("limit", (1, 1), 0.1),
        ("line", (1, 2), 0.1),
    ]
    assert [type(piece) for piece in flat(pieces)] == [Hold, Wait, Limit, Jump]
