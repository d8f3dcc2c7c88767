"""Figures of a waveform told against the one asked, by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from railwright.waveforms.figures import figures
from railwright.waveforms.waveform import Waveform


def steps(*rows: tuple[float, float], end: float) -> Waveform:
    times = np.array([time for time, _ in rows] + [end])
    return Waveform(np.repeat(times, 2)[1:-1], np.repeat([value for _, value in rows], 2).astype(float))


ASKED = steps((0.0, 12.0), (2.0, 9.0), (3.0, 12.0), end=5.0)


def test_what_is_asked_has_no_deviation() -> None:
    found = figures(ASKED, ASKED, 0.02)
    assert (found.largest, found.rms, found.steady, found.level) == (0.0, 0.0, 0.0, 0.0)
    assert (found.edges, found.missing, found.late, found.duration) == (2, 0, 0.0, 5.0)


def test_edges_early_and_late_are_told_apart_from_levels() -> None:
    told = steps((0.0, 12.0), (1.99, 9.0), (3.015, 12.0), end=5.0)
    found = figures(ASKED, told, 0.02)
    assert (found.largest, found.steady, found.missing) == (0.0, 0.0, 0)
    assert found.late == pytest.approx(0.015)
    assert found.rms == pytest.approx(3.0 * math.sqrt(0.025 / 5.0))
    beyond = figures(ASKED, told, 0.012)  # the later one is too late to be only that
    assert beyond.largest == 3.0
    assert beyond.steady == pytest.approx(3.0 * math.sqrt(0.015 / 5.0))


def test_a_flat_level_between_two_asked_ones() -> None:
    """What once was played of 12 V, 9 V, 12 V: no edge of it is there."""
    found = figures(ASKED, Waveform(np.array([0.0, 5.0]), np.array([11.0, 11.0])), 0.02)
    assert (found.largest, found.level, found.missing) == (2.0, 2.0, 2)
    assert found.rms == pytest.approx(math.sqrt((4.0 * 1.0 + 1.0 * 4.0) / 5.0))


def test_an_edge_in_a_line_is_where_it_passes_half_the_height() -> None:
    told = Waveform(np.array([0.0, 2.0, 2.02, 3.0, 3.02, 5.0]), np.array([12.0, 12.0, 9.0, 9.0, 12.0, 12.0]))
    found = figures(ASKED, told, 0.02)
    assert found.late == pytest.approx(0.01)
    assert found.largest == 0.0
    assert found.rms == pytest.approx(math.sqrt(2 * 9.0 * 0.02 / 3.0 / 5.0))


def test_a_level_and_a_slope_count_as_they_are() -> None:
    told = steps((0.0, 12.1), (2.0, 9.0), (3.0, 12.0), end=5.0)
    found = figures(ASKED, told, 0.02)
    assert found.largest == pytest.approx(0.1)
    assert found.level == pytest.approx(0.1)
    assert found.rms == pytest.approx(0.1 * math.sqrt(2.0 / 5.0))
    line = Waveform(np.array([0.0, 4.0]), np.array([0.0, 8.0]))
    off = figures(line, Waveform(np.array([0.0, 4.0]), np.array([0.0, 6.0])), 0.02)
    assert (off.largest, off.level, off.edges) == (2.0, 0.0, 0)
    assert off.rms == pytest.approx(2.0 / math.sqrt(3.0))


def test_what_ends_early_keeps_its_last_value() -> None:
    found = figures(ASKED, steps((0.0, 12.0), (2.0, 9.0), (3.0, 11.5), end=3.5), 0.02)
    assert found.duration == 3.5
    assert found.largest == pytest.approx(0.5)
    assert found.rms == pytest.approx(0.5 * math.sqrt(2.0 / 5.0))


def test_small_jumps_are_no_edges() -> None:
    asked = steps((0.0, 12.0), (1.0, 12.2), (2.0, 9.0), end=3.0)
    flat = steps((0.0, 12.1), (2.0, 9.0), end=3.0)
    assert figures(asked, flat, 0.02, least=0.3).missing == 0
    assert figures(asked, flat, 0.02).missing == 1


def test_a_small_jump_may_be_moved_as_an_edge_may() -> None:
    asked = steps((0.0, 12.0), (1.0, 12.2), (2.0, 9.0), end=3.0)
    moved = steps((0.0, 12.0), (1.01, 12.2), (2.0, 9.0), end=3.0)
    found = figures(asked, moved, 0.02, least=0.3)
    assert (found.largest, found.steady, found.edges, found.missing, found.late) == (0.0, 0.0, 1, 0, 0.0)
    assert figures(asked, moved, 0.005, least=0.3).largest == pytest.approx(0.2)
