"""10,000 cases of the demo's power-up on two cores: ours against ngspice, extrapolated from 50 runs.

Ours: every uncertain quantity of the demo's main input, in threads of one process, summed up. ngspice: the
same power-up with steps up to 10 µs, one process a case, two at a time, as such a study is done with it. That
is in its favour: its error is then some 25 times ours (see `ngspice_case.py`). The last line is the ratio.

    python -m benchmarks.ngspice_ensemble
"""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor

from benchmarks.ngspice_case import netlist, run
from benchmarks.rehearsal import power_up_plan

from railwright.rehearsal.ensemble import merged
from railwright.spread import over_threads

CASES, RUNS, CORES, STEP = 10_000, 50, 2, 10e-6


def main() -> None:
    """Measure and print."""
    merged(over_threads(power_up_plan(64), CORES))  # compiles, or loads what is compiled
    begin = time.perf_counter()
    ensemble = merged(over_threads(power_up_plan(CASES), CORES))
    ours = time.perf_counter() - begin
    assert ensemble.played == CASES
    assert ensemble.failures == 0
    print(f"ours:    {ours:.2f} s for {CASES} cases on {CORES} cores")
    begin = time.perf_counter()
    with ThreadPoolExecutor(CORES) as pool:
        list(pool.map(run, [netlist(STEP, 1)] * RUNS))
    theirs = (time.perf_counter() - begin) * CASES / RUNS
    print(f"ngspice: {theirs:.0f} s for {CASES} cases on {CORES} cores, from {RUNS}")
    print(f"times faster than ngspice for {CASES} cases: {theirs / ours:.0f}")


if __name__ == "__main__":
    main()
