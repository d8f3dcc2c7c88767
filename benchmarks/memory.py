"""Memory of 1,000,000 cases: largest resident size of the process, beside that of 10,000.

The transducer's power-up, in threads. Results are summed up as they come, so that only the libraries and a
few chunks count. The last line is the ratio.

    python -m benchmarks.memory [--cases 1000000]
"""

from __future__ import annotations

import argparse
import resource
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

from benchmarks.rehearsal import transducer_plan

from railwright.rehearsal.ensemble import merged
from railwright.spread import over_threads


def largest(cases: int) -> tuple[float, float]:
    """Largest resident size of this process [MB] after so many cases, and the time they took [s]."""
    begin = time.perf_counter()
    assert merged(over_threads(transducer_plan(cases), 2)).played == cases
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, time.perf_counter() - begin


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=1_000_000)
    most = parser.parse_args().cases
    sizes = []
    for cases in (10_000, most):
        with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
            size, took = pool.submit(largest, cases).result()
        print(f"{cases} cases: {size:.0f} MB, {took:.0f} s")
        sizes.append(size)
    print(f"times the memory of 10000 cases: {sizes[1] / sizes[0]:.2f}")


if __name__ == "__main__":
    main()
