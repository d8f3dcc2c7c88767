"""Every end of every window of twenty devices, at the end itself and one step of the grid beyond it.

    python -m benchmarks.window_ends [--cases 2000] [device ...]

At each end, the other settings as dialled in (with a current limit as they are where it is written): so many
sampled cases of the whole procedure (how many trip with nothing wrong), and every rehearsed fault that
settings can contain, in as many (in how many device or lead get more than they bear). Then, in a brute-force
transient that shares nothing with the package but the figures of the documents: at the end its reason holds;
how many steps of the grid beyond it breaks first, of those tried, and in which corner. An end that a document
states (what an output can be set to) is counted apart. The last line has the violations.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from benchmarks.window_ends.devices import CASES
from benchmarks.window_ends.ends import STEPS, at_both_ends, beyond, find, held


# One loop and its table.
def main(arguments: list[str]) -> int:
    """Measure and print; 1 where something is violated."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cases", type=int, default=2000)
    parser.add_argument("devices", nargs="*")
    asked = parser.parse_args(arguments)
    windows = ends = stated = cases = cautioned = violations = holds = sought = 0
    breaks: Counter[int] = Counter()
    for case in CASES:
        if asked.devices and case.name not in asked.devices:
            continue
        begin = time.perf_counter()
        with tempfile.TemporaryDirectory() as folder:
            found = find(case, Path(folder))
            stops = [f"{f.rule}: {f.why}" for f in found.settings.findings if f.blocks]
            print(f"{case.name}" + (f"  STOP {stops}" if stops else ""))
            if stops:
                violations += 1
                continue
            windows += len(found.windows)
            for window, end in at_both_ends(found):
                ends += 1
                seen = held(found, window, end, asked.cases) if asked.cases else None
                told = f"  {window.setting:13} {end.side:4} {end.value:<10.6g} {end.key:10}"
                if seen is not None and seen.cases:
                    cases += seen.cases * (1 + seen.faults)
                    violations += seen.trips + seen.failures + sum(seen.excess.values())
                    cautioned += seen.cautioned
                    told += f" {seen.trips} trip, {seen.failures} not solved,"
                    told += f" {seen.excess or 'nothing'} beyond;"
                    told += f" ({seen.cautioned}: the check says so)" if seen.cautioned else ""
                further = beyond(found, window, end)
                if further is None:
                    stated += 1
                    told += " stated by the document"
                else:
                    sought += 1
                    holds += further.at
                    breaks[further.steps] += 1
                    told += f" {'holds' if further.at else 'DOES NOT HOLD'} at it, "
                    told += f"breaks {further.steps} on" if further.steps else "does not break beyond"
                    told += f" ({further.corner}: {further.by})"
                print(told, flush=True)
        print(f"  {time.perf_counter() - begin:.1f} s", flush=True)
    print(f"windows {windows}, ends {ends}, of which a document states {stated}; cases {cases}")
    print(f"by brute force: holds at the end {holds} of {sought}; broken first so many steps beyond it:")
    told_steps = [f"{steps}: {number}" for steps, number in sorted(breaks.items()) if steps]
    print(f"  {', '.join(told_steps)}; not within {STEPS[-1]}: {breaks[0]}")
    print(f"cases that the check cautions of (limit-overshoot): {cautioned}")
    print(f"violations: {violations + sought - holds}")
    return 1 if violations + sought - holds else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
