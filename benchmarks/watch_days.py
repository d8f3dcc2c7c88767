"""A log of 4 outputs at 50 readings a second for an hour: memory, rows, and what the files say.

The supplies are simulated, and everything is in virtual time, so an hour takes minutes. The resident size of
the process is looked at every virtual minute; what counts is how far it moves after the first five minutes,
in which libraries are loaded and buffers filled. The last line is its largest over its smallest since then.

    python -m benchmarks.watch_days [--seconds 3600] [--form parquet]
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from pathlib import Path

from tests.watching.station import Station

from railwright.watching.bench_watch import WatchProgress
from railwright.watching.conditions import LogRow
from railwright.watching.files import LogStatistics

LOOK = 60.0
"""How often the memory is looked at [s, virtual]."""


def resident() -> float:
    """Of this process [MB]."""
    pages = int(Path("/proc/self/statm").read_text("ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


class Sizes(WatchProgress):
    """The resident size at each look."""

    def __init__(self) -> None:
        self.found: list[tuple[float, float]] = []

    def row(self, row: LogRow, statistics: LogStatistics, rows: int) -> None:
        if row.time >= LOOK * len(self.found):
            self.found.append((row.time, resident()))


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=int, default=3600)
    parser.add_argument("--form", choices=("csv", "parquet"), default="parquet")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, Station(Path(folder), keep=10.0) as station:
        station.progress = sizes = Sizes()
        for output, voltage in (("left.1", 12.0), ("left.2", 5.0), ("right.1", 3.3), ("right.2", 9.0)):
            station.set(output, voltage)
        begin = time.perf_counter()
        outcome = station.watch(
            every="20 ms", until=[f"{given.seconds} s"], form=given.form, file_lasts="15 min"
        )
        took = time.perf_counter() - begin
        files = sorted((Path(folder) / "log").glob(f"rows-*.{given.form}"))
        size = sum(each.stat().st_size for each in files) / 1e6
        expected = given.seconds * 50 + 1
        print(f"{outcome.rows} rows, {expected} expected; missed: {outcome.missed}")
        print(f"{took:.0f} s for {given.seconds} s; {len(files)} files, {size:.1f} MB")
        for at, held in sizes.found:
            print(f"{at:6.0f} s: {held:.1f} MB")
        assert outcome.rows == expected
        steady = [held for at, held in sizes.found if at >= min(300.0, given.seconds / 4)]
        print(f"largest over smallest resident size: {max(steady) / min(steady):.3f}")


if __name__ == "__main__":
    main()
