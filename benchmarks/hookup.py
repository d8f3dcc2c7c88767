"""Hook-up of the largest bench: 8 supplies with 24 outputs for 10 inputs, with reasons and the runner-up.

Ten such benches, drawn anew; the slowest counts. The last line is its time as a part of the 5 s that are
permitted.

    python -m benchmarks.hookup [--benches 10] [--seed 1]
"""

from __future__ import annotations

import argparse
import time

from tests.settings.hookup.largest import largest

from railwright.settings.hookup import hooked_up

PERMITTED = 5.0
"""Time that the largest bench may take [s]."""


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--benches", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    hooked_up(largest(0))  # scipy is imported
    slowest = 0.0
    for seed in range(given.seed, given.seed + given.benches):
        documents = largest(seed)
        begin = time.perf_counter()
        resolved = hooked_up(documents)
        took = time.perf_counter() - begin
        fed = len(resolved.documents.procedure.hook_up)
        print(f"bench {seed}: {fed} of 10 inputs fed, {took:.2f} s")
        slowest = max(slowest, took)
    print(f"slowest, as a part of {PERMITTED:g} s: {slowest / PERMITTED:.2f}")


if __name__ == "__main__":
    main()
