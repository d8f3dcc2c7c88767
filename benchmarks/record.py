"""The record of an hour: 4 inputs, 100 readings a second each, through recorder and log as fast as they go.

Prints the process's memory after a tenth and after all of it, what a reading costs the run, how long the log
takes to fold into Parquet and the memory that this needs, and checks that every reading is there. The last
line is the ratio of the memory after all of it to that after a tenth.

    python -m benchmarks.record [--hours 1]
"""

from __future__ import annotations

import argparse
import math
import os
import resource
import tempfile
import time
from pathlib import Path

from pyarrow import parquet

from railwright.records.log import WRITE_EVERY, Log
from railwright.records.names import readings_file
from railwright.records.readings import fold
from railwright.running.outcome import InputReading, Progress
from railwright.running.recorder import RunRecorder
from railwright.traces import Mode

INPUTS = {"main": "at load", "aux": "at load", "gate": "at terminals", "heater": "at terminals"}
EVERY = 0.01
"""Interval of the readings [s]."""

CHUNK = 2500
"""Turns that are pushed in one go; between them the log's thread catches up, as it does in a run."""


def resident() -> float:
    """Memory of this process now [MB]."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def largest() -> float:
    """Largest memory of this process so far [MB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / 1e6


def push(recorder: RunRecorder, first: int, last: int) -> float:
    """Readings of these turns; gives the time they took the caller [s]."""
    took = 0.0
    for turn in range(first, last):
        voltage = 12.0 + 0.01 * math.sin(turn * 0.1)
        readings = [
            InputReading(turn * EVERY, name, at, voltage, 0.3 + turn % 7 * 1e-3, Mode.CV, "")
            for name, at in INPUTS.items()
        ]
        begin = time.perf_counter()
        for reading in readings:
            recorder.reading(reading)
        took += time.perf_counter() - begin
        if turn % CHUNK == CHUNK - 1:
            time.sleep(2 * WRITE_EVERY)
    return took


def main() -> None:
    """Push, fold, compare and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=1.0)
    turns = int(parser.parse_args().hours * 3600 / EVERY)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        log = Log(folder / "log.ndjson")
        recorder = RunRecorder(log, Progress(), INPUTS)
        recorder.begin(0.0)
        tenth = turns // 10
        took, after = 0.0, []
        for part in range(10):
            took += push(recorder, part * tenth, (part + 1) * tenth)
            after.append(resident())
        recorder.close()
        assert recorder.failed is None, recorder.failed
        each = 1e6 * took / sum(recorder.rows.values())
        print(f"{sum(recorder.rows.values())} readings, {each:.1f} µs each in the caller")
        print(f"log: {log.path.stat().st_size / 1e6:.0f} MB, longest sync {log.longest_sync:.2f} s")
        print(f"memory after a tenth {after[0]:.1f} MB, after all {after[-1]:.1f} MB")
        before, begin = resident(), time.perf_counter()
        story = fold(log.path, folder, INPUTS)
        print(f"folded in {time.perf_counter() - begin:.1f} s, {largest() - before:.0f} MB on top")
        kept = {name: parquet.read_metadata(readings_file(folder, name)).num_rows for name in INPUTS}
        assert kept == story.rows == recorder.rows, (kept, recorder.rows)
        assert not story.recovered
        print(f"readings in = rows in Parquet: {sum(kept.values())}")
    print(f"memory after all of it / after a tenth: {after[-1] / after[0]:.3f}")


if __name__ == "__main__":
    main()
