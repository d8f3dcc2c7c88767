"""How long a plot of the report takes to thin a record of ten million points, beside one pass over them.

The bound is taken in the same run: `np.min` reads every value once and keeps one. Both take turns, and the
fastest turn of each counts, in processor time. The record has a spike of one sample up and one down, which
have to be among what is kept.

The last line is the ratio of the two.

    python -m benchmarks.thinning [--points 10000000] [--turns 15]
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from railwright.report.decimate import decimate

BOUND = 10.0
"""Passes over the values that the thinning may take the time of."""


def record(points: int, seed: int = 1) -> tuple[np.ndarray, np.ndarray]:
    """Time [s] and noise, shape (points,) each, with one spike up and one down."""
    draw = np.random.default_rng(seed)
    values = draw.normal(12.0, 0.01, points)
    values[points // 3], values[points // 2] = 20.0, 2.0
    return np.arange(points) * 1e-6, values


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--points", type=int, default=10_000_000)
    parser.add_argument("--turns", type=int, default=15)
    given = parser.parse_args()
    instants, values = record(given.points)
    thinning, passes = [], []
    for _ in range(given.turns):
        begin = time.process_time()
        kept_instants, kept = decimate(instants, values)
        between = time.process_time()
        lowest = np.min(values)
        passes.append(time.process_time() - between)
        thinning.append(between - begin)
        ends = (kept_instants[0], kept_instants[-1]) == (instants[0], instants[-1])
        if not ends or kept.min() != lowest or kept.max() != 20.0:
            print("an end or an extreme is missing from what is kept")
            return 1
    ratio = min(thinning) / min(passes)
    print(f"{given.points:,} points, {kept.size:,} kept; fastest of {given.turns} turns, and the median:")
    print(f"thinning {1e3 * min(thinning):.1f} ms, {1e3 * float(np.median(thinning)):.1f} ms")
    print(f"one pass {1e3 * min(passes):.1f} ms, {1e3 * float(np.median(passes)):.1f} ms")
    print(f"thinning: {ratio:.1f} × one pass over the values (bound {BOUND:g})")
    return 0 if ratio <= BOUND else 1


if __name__ == "__main__":
    raise SystemExit(main())
