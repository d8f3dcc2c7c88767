"""Best fits by search, slow and without any of the fits' own code: what they are checked against.

Stepping: every partition, by dynamic programming over where the last level begins. Interpolating: for given
instants of the meets the best values are a linear program (exact); the instants are searched on a grid that
closes in on the best. Its result can be had, so no optimum lies above it.
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog
from scipy.sparse import block_diag, csr_array

Array = NDArray[np.float64]


def best_levels(value: Array, points: int) -> float:
    """Least error of at most `points` levels for values (n,) that are held one after the other."""
    rows = value.size
    half = np.full((rows, rows + 1), np.inf)
    for begin in range(rows):
        for end in range(begin + 1, rows + 1):
            half[begin, end] = 0.5 * (value[begin:end].max() - value[begin:end].min())
    best = np.full(rows + 1, np.inf)
    best[0] = 0.0
    for _ in range(points):
        best = np.array(
            [best[0]] + [min(best[e], *np.maximum(best[:e], half[:e, e])) for e in range(1, rows + 1)]
        )
    return float(best[rows])


def best_levels_of_lines(time: Array, value: Array, points: int, fineness: int) -> tuple[float, float]:
    """Bounds of the least error of at most `points` levels for straight lines between rows (n,), free of
    jumps.

    Below: only `fineness` instants of each line are looked at. Above: as much more as the waveform moves
    between two of them.
    """
    parts = np.linspace(0.0, 1.0, fineness, endpoint=False)
    instants = np.append((time[:-1, None] + np.diff(time)[:, None] * parts).ravel(), time[-1])
    fine = np.interp(instants, time, value)
    below = best_levels(fine, points)
    return below, below + float(np.abs(np.diff(fine)).max())


def best_lines(time: Array, value: Array, points: int) -> float:
    """Least error found of at most `points` joined lines, for straight lines between rows (n,), no jumps."""
    end = time[-1]
    grid = np.union1d(np.linspace(0.0, end, {1: 2, 2: 61}.get(points, 25)), time)
    meets = np.array(list(itertools.combinations(grid[1:-1], points - 1)))
    error = _errors(time, value, meets)
    step, best = end / 25, float(error.min())
    if points == 1:
        return best
    # Several hollows at once: the deepest need not be where the grid is lowest.
    centres = _apart(meets[np.argsort(error)], 2.0 * step, 6)
    rng = np.random.default_rng(1)
    for turn in range(34):
        step *= 0.68
        # Beside the grid's directions some by chance: the hollows have edges that run across them.
        around = np.array(list(itertools.product((-step, 0.0, step), repeat=points - 1)))
        around = np.vstack((around, rng.uniform(-step, step, (6 * (points - 2), points - 1))))
        near = np.clip(centres[:, None, :] + around, 0.0, end)
        wrong = (np.diff(near, axis=2, prepend=0.0, append=end) <= 1e-9 * end).any(axis=2)
        near = np.where(wrong[:, :, None], centres[:, None, :], near)
        error = _errors(time, value, near.reshape(-1, points - 1)).reshape(near.shape[:2])
        centres = near[np.arange(near.shape[0]), error.argmin(axis=1)]
        best = min(best, float(error.min()))
        if turn == 8:
            centres = centres[np.argsort(error.min(axis=1))[:2]]
    return best


def _apart(meets: Array, distance: float, most: int) -> Array:
    """The first few of these (m, lines - 1) that lie so far from each other."""
    kept: list[Array] = []
    for each in meets:
        if len(kept) < most and all(np.abs(each - other).max() > distance for other in kept):
            kept.append(each)
    return np.array(kept)


def _errors(time: Array, value: Array, meets: Array) -> Array:
    """Least error for each of several sets of instants (m, lines - 1) where the lines meet, all in one
    program.
    """
    blocks, bounds = zip(*(_program(time, value, each) for each in meets), strict=True)
    width = blocks[0].shape[1]
    cost = np.zeros(width * len(blocks))
    cost[width - 1 :: width] = 1.0
    found = linprog(cost, block_diag(blocks, format="csr"), np.concatenate(bounds), bounds=(None, None))
    assert found.status == 0
    # The solver keeps its bounds to 1e-7 only: what its levels really make counts.
    levels = [np.append(each[:-1], 0.0) for each in found.x.reshape(-1, width)]
    return np.array([float((b @ x - u).max()) for b, x, u in zip(blocks, levels, bounds, strict=True)])


def _program(time: Array, value: Array, meets: Array) -> tuple[csr_array, Array]:
    """|lines − waveform| ≤ error at every row and every meet; unknown are the levels there, and the error."""
    knots = np.concatenate(([time[0]], meets, [time[-1]]))
    instants = np.concatenate((time, meets))
    asked = np.interp(instants, time, value)
    levels = np.array([np.interp(instants, knots, unit) for unit in np.eye(knots.size)]).T
    one = np.ones((instants.size, 1))
    matrix = np.vstack((np.hstack((levels, -one)), np.hstack((-levels, -one))))
    return csr_array(matrix), np.concatenate((asked, -asked))


def best_list(asked: Array, shortest: int, longest: int, points: int, resolution: float) -> float:
    """Least error of at most `points` levels for values held for one step of a grid each (cells,): every
    partition into dwells from shortest to longest steps, and every level on the grid of voltages. inf: there
    is none.
    """
    cells = asked.size
    levels = np.arange(np.floor(asked.min() / resolution), np.ceil(asked.max() / resolution) + 1) * resolution
    best = {(0, 0): 0.0}
    for end in range(1, cells + 1):
        for begin in range(max(0, end - longest), end - shortest + 1):
            error = float(np.abs(asked[begin:end, None] - levels).max(axis=0).min())
            for count in range(points):
                if (begin, count) in best:
                    key, worse = (end, count + 1), max(best[begin, count], error)
                    best[key] = min(best.get(key, np.inf), worse)
    return min((error for (end, _), error in best.items() if end == cells), default=np.inf)


def best_line_list(time: Array, value: Array, shortest: int, points: int) -> float:
    """Least error of at most `points` joined lines that meet at whole times, `shortest` or more apart."""
    end = round(time[-1])
    best = np.inf
    for count in range(1, points + 1):
        for meets in itertools.combinations(range(1, end), count - 1):
            if np.diff([0, *meets, end]).min() >= shortest:
                best = min(best, float(_errors(time, value, np.array([meets], float))[0]))
    return best
