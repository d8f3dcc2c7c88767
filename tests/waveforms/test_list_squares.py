"""Lists of the least squares against every list there is on small grids."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from numpy.typing import NDArray

from railwright.waveforms.list_lines import line_list
from railwright.waveforms.list_squares import line_squares, stepping_squares
from railwright.waveforms.list_stepping import stepping_list
from railwright.waveforms.point_list import Abilities, Listed
from railwright.waveforms.waveform import Waveform

Array = NDArray[np.float64]
FINE = 200


def squares(wave: Waveform, listed: Listed) -> float:
    """Integral of the squared deviation, in fine steps."""
    fine = (np.arange(FINE * round(wave.duration)) + 0.5) / FINE
    return float(((listed.points.wave.at(fine) - wave.at(fine)) ** 2).sum() / FINE)


def best_levels(wave: Waveform, shortest: int, longest: int, points: int) -> float:
    """Least integral of at most `points` levels on whole times, by every place where the last begins."""
    cells = round(wave.duration)
    fine = (np.arange(FINE * cells) + 0.5) / FINE
    value = wave.at(fine).reshape(cells, FINE)
    best = {(0, 0): 0.0}
    for end in range(1, cells + 1):
        for begin in range(max(0, end - longest), end - shortest + 1):
            part = value[begin:end]
            own = float(((part - part.mean()) ** 2).sum() / FINE)
            for count in range(points):
                if (begin, count) in best:
                    key, total = (end, count + 1), best[begin, count] + own
                    best[key] = min(best.get(key, np.inf), total)
    return min(total for (end, _), total in best.items() if end == cells)


def best_lines(wave: Waveform, shortest: int, points: int) -> float:
    """Least integral of at most `points` joined lines that meet at whole times, by every choice of them."""
    cells = round(wave.duration)
    fine = (np.arange(FINE * cells) + 0.5) / FINE
    value, best = wave.at(fine), np.inf
    for count in range(1, points + 1):
        for meets in itertools.combinations(range(1, cells), count - 1):
            knots = np.array([0, *meets, cells], float)
            if np.diff(knots).min() < shortest:
                continue
            hats = np.array([np.interp(fine, knots, unit) for unit in np.eye(knots.size)]).T
            levels = np.linalg.lstsq(hats, value, rcond=None)[0]
            best = min(best, float(((hats @ levels - value) ** 2).sum() / FINE))
    return best


def held(seed: int, cells: int) -> Waveform:
    draw = np.random.default_rng(seed)
    edges = np.sort(draw.choice(np.arange(1, cells), size=cells // 3, replace=False))
    times = np.concatenate(([0.0], edges, [cells])).astype(float)
    return Waveform(np.repeat(times, 2)[1:-1], np.repeat(draw.uniform(0.0, 10.0, edges.size + 1), 2))


def swinging(seed: int, cells: int) -> Waveform:
    draw = np.random.default_rng(seed)
    return Waveform(np.arange(cells + 1.0), draw.uniform(0.0, 10.0, cells + 1))


@pytest.mark.parametrize("seed", range(60))
def test_levels_are_near_the_best_of_all_lists(seed: int) -> None:
    draw = np.random.default_rng(1000 + seed)
    wave = (held, swinging)[seed % 2](seed, 24)
    shortest, longest = int(draw.integers(1, 4)), int(draw.integers(8, 30))
    points = int(draw.integers(3, 8))
    can = Abilities(points, float(shortest), float(longest), 1.0, -5.0, 15.0)
    listed = stepping_squares(wave, can)
    assert listed is not None
    dwells = listed.points.dwells
    assert dwells.size <= points
    assert dwells.min() >= shortest
    assert dwells.max() <= longest
    assert dwells.sum() == wave.duration
    best = best_levels(wave, shortest, longest, points)
    assert best <= squares(wave, listed) + 1e-9
    # Of a price for each point not every number comes out: what is left over parts the best stretch.
    assert squares(wave, listed) <= 1.15 * best + 1e-9


@pytest.mark.parametrize("seed", range(30))
def test_lines_are_near_the_best_of_all_lists(seed: int) -> None:
    draw = np.random.default_rng(2000 + seed)
    wave = swinging(seed, 12)
    shortest, points = int(draw.integers(1, 3)), int(draw.integers(2, 6))
    listed = line_squares(wave, Abilities(points, float(shortest), 100.0, 1.0, -50.0, 50.0))
    assert listed is not None
    assert listed.points.dwells.size <= points
    assert listed.points.dwells.min() >= shortest
    best = best_lines(wave, shortest, points)
    assert best <= squares(wave, listed) + 1e-3 * best
    assert squares(wave, listed) <= 1.5 * best


def test_the_squares_are_no_more_than_those_of_the_least_largest_deviation() -> None:
    time = np.arange(0.0, 400.5)
    ring = 10.0 + 5.0 * np.exp(-time / 90.0) * np.sin(time / 3.0)
    wave = Waveform(time, ring)
    can = Abilities(30, 4.0, 400.0, 1.0, 0.0, 20.0, 1e-3)
    for least, other in ((stepping_squares, stepping_list), (line_squares, line_list)):
        found, before = least(wave, can), other(wave, can)
        assert found is not None
        assert before is not None
        assert squares(wave, found) < squares(wave, before)
        assert found.points.dwells.size == 30


def test_jumps_stay_where_they_are_and_all_points_are_used() -> None:
    ends = np.array([0.0, 0.5, 0.51, 1.2, 1.25, 2.0])
    values = np.array([12.0, 6.0, 12.0, 9.0, 12.0])
    wave = Waveform(np.repeat(ends, 2)[1:-1], np.repeat(values, 2))
    listed = stepping_squares(wave, Abilities(5, 1e-3, 10.0, 1e-3, 0.0, 20.0, 1e-3))
    assert listed is not None
    assert np.cumsum(listed.points.dwells) == pytest.approx(ends[1:])
    assert listed.points.voltages == pytest.approx(values)
    assert listed.error == pytest.approx(0.0, abs=1e-9)


def test_what_no_list_lasts_is_none() -> None:
    wave = Waveform(np.array([0.0, 10.0]), np.array([1.0, 2.0]))
    assert stepping_squares(wave, Abilities(3, 1.0, 3.0, 1.0, 0.0, 5.0)) is None
    assert line_squares(wave, Abilities(3, 1.0, 3.0, 1.0, 0.0, 5.0)) is None
