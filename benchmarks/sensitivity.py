"""What `rehearse --sensitivity` costs, in plain rehearsals of the example; and how right its indices are.

Pairs of whole processes, one right after the other, in turns: `railwright rehearse p --cases 1 --sensitivity`
against `railwright rehearse p`. What is compared is processor time (user and system, of all threads): a
machine that is busy with other work lengthens neither; the time on the clock is printed beside it. The last
line is the median ratio.

With `--accuracy`: the indices of four seeds against those of 4096 points, and beside them what 256 points
give without the polynomial (scipy.stats.sobol_indices, Saltelli 2010).

    python -m benchmarks.sensitivity [--pairs 7] [--accuracy]
"""

from __future__ import annotations

import argparse
import resource
import statistics
import subprocess
import sys
import tempfile
import time

import numpy as np
from numpy.typing import NDArray
from scipy.stats import sobol_indices

import railwright
from railwright.examples import example
from railwright.plan.plan import plan_of
from railwright.rehearsal.design import spread
from railwright.rehearsal.ensemble import EnsemblePlan, plan_ensemble, play_values
from railwright.rehearsal.sensitivity import BASE, base_design, indices_of

PROCEDURE = example() / "power-input.procedure.yaml"
LEFT_OUT = ("trip", "tripped_at", "starts", "stops", "peak_at")

Pair = tuple[NDArray[np.float64], NDArray[np.float64]]
"""Indices alone and in all, (quantities,) each."""


def took(*options: str) -> tuple[float, float]:
    """Processor time and time on the clock of one process [s]."""
    before, begin = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run(
            [sys.executable, "-m", "railwright", "rehearse", str(PROCEDURE), *options],
            cwd=folder, check=True, capture_output=True,
        )  # fmt: skip
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return used, time.perf_counter() - begin


def values_of(plan: EnsemblePlan, base: int, seed: int) -> dict[tuple[str, str], NDArray[np.float64]]:
    """Each measure at the points of the design, as `sensitivities` plays them."""
    first, second = base_design(len(plan.design.names), base, seed)
    pages = np.repeat(first[np.newaxis], first.shape[1], axis=0)
    for k in range(first.shape[1]):
        pages[k, :, k] = second[:, k]
    measures, _ = play_values(plan, spread(plan.design.quantities, np.concatenate([first, second, *pages])))
    return {
        (name, measure): column
        for name, columns in measures.items()
        for measure, column in columns.items()
        if measure not in LEFT_OUT
    }


def plain(values: NDArray[np.float64], base: int) -> Pair:
    """Without the polynomial."""
    pages = values[2 * base :].reshape(-1, 1, base)
    known = {"f_A": values[np.newaxis, :base], "f_B": values[np.newaxis, base : 2 * base], "f_AB": pages}
    found = sobol_indices(func=known, n=base)
    return np.asarray(found.first_order).ravel(), np.asarray(found.total_order).ravel()


def fitted(values: NDArray[np.float64], count: int, base: int, seed: int) -> Pair:
    """With the polynomial."""
    found = indices_of(values, *base_design(count, base, seed))
    return found.alone, found.in_all


def accuracy() -> None:
    """Print the largest difference of each measure's indices from those of 4096 points."""
    job = railwright.open(PROCEDURE)
    checked = job.settle().checked
    given = checked.documents, checked.settings.set_points
    plan = plan_ensemble(*given, 64, timeline=plan_of(*given).played)
    count = len(plan.design.names)
    truth = {key: plain(values, 4096) for key, values in values_of(plan, 4096, 77).items()}
    worst: dict[tuple[str, str], list[float]] = {}
    for seed in range(1, 5):
        seen = (
            {key: fitted(v, count, BASE, seed) for key, v in values_of(plan, BASE, seed).items()},
            {key: plain(v, 256) for key, v in values_of(plan, 256, seed).items()},
        )
        for key, right in truth.items():
            off = [max(np.abs(a - b).max() for a, b in zip(each[key], right, strict=True)) for each in seen]
            worst[key] = [max(pair) for pair in zip(worst.get(key, [0.0, 0.0]), off, strict=True)]
    print(f"largest difference of an index: {BASE} points with the polynomial, 256 without")
    for (name, measure), (now, before) in worst.items():
        print(f"  {name} {measure}: {now:.3f} {before:.3f}")


def main() -> None:
    """Compare, and print the median ratio."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--pairs", type=int, default=7)
    parser.add_argument("--accuracy", action="store_true")
    given = parser.parse_args()
    if given.accuracy:
        accuracy()
        return
    wide = ("--cases", "1", "--sensitivity")
    took()
    took(*wide)
    ratios, clocks = [], []
    for turn in range(given.pairs):
        # Whoever goes first finds other things in the machine's caches.
        first, second = ((), wide) if turn % 2 else (wide, ())
        seen = {options: took(*options) for options in (first, second)}
        ratios.append(seen[wide][0] / seen[()][0])
        clocks.append(seen[wide][1] / seen[()][1])
        print(
            f"  {seen[wide][0]:.2f} s / {seen[()][0]:.2f} s of processor time = {ratios[-1]:.1f}", flush=True
        )
    print(f"time on the clock: {statistics.median(clocks):.1f} plain rehearsals")
    print(f"sensitivity in plain rehearsals, processor time: {statistics.median(ratios):.1f}")


if __name__ == "__main__":
    main()
