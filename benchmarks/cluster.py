"""100,000 cases on a Dask cluster: two workers against one, beside what two bare processes gain here.

The ceiling is this machine's own: the same chunks in one process of our own, and halved between two. The last
line is the gain of the cluster as a part of that of the bare processes.

    python -m benchmarks.cluster
"""

from __future__ import annotations

import time
from concurrent.futures import ProcessPoolExecutor

from benchmarks.rehearsal import power_up_plan
from distributed import LocalCluster

from railwright.rehearsal.ensemble import merged, play_chunk
from railwright.spread import over_cluster

CASES = 100_000


def play(first: int, every: int) -> int:
    """Play every so many chunks; how many cases that were."""
    plan = power_up_plan(CASES)
    return sum(play_chunk(plan, chunk).played for chunk in range(first, plan.design.chunks, every))


def bare(processes: int) -> float:
    """Time of all chunks in bare processes that have loaded everything [s]."""
    with ProcessPoolExecutor(processes) as pool:
        list(pool.map(play, range(processes), [10**6] * processes))  # one chunk each, to load everything
        begin = time.perf_counter()
        played = sum(pool.map(play, range(processes), [processes] * processes))
        assert played == CASES
        return time.perf_counter() - begin


def clustered(workers: int) -> float:
    """Time of all chunks on a cluster whose workers have loaded everything [s]."""
    with LocalCluster(  # type: ignore[no-untyped-call]
        n_workers=workers, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        merged(over_cluster(power_up_plan(workers * 4096), cluster.scheduler_address))
        begin = time.perf_counter()
        assert merged(over_cluster(power_up_plan(CASES), cluster.scheduler_address)).played == CASES
        return time.perf_counter() - begin


def main() -> None:
    """Measure and print."""
    one, two = bare(1), bare(2)
    print(f"bare processes: {one:.1f} s in one, {two:.1f} s in two: {one / two:.2f} times")
    single, double = clustered(1), clustered(2)
    print(f"Dask workers:   {single:.1f} s on one, {double:.1f} s on two: {single / double:.2f} times")
    print(f"part of the bare processes' gain: {(single / double) / (one / two):.2f}")


if __name__ == "__main__":
    main()
