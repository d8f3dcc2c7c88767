"""An hour of a real run: 4 outputs of two supplies, 100 readings a second of each.

Run, guard, recorder, log and simulated supplies are the real ones, in one process and in virtual time, in
which an hour takes minutes. With `--real MINUTES` the guard and the supplies are processes of their own
instead, and time is the computer's. Prints the memory of the run's process after a tenth and at the end,
and checks that every reading that the schedule asks for is in the Parquet files or counted as left out. The
last line is the ratio of the memory at the end to that after a tenth.

    python -m benchmarks.soak [--minutes 60] [--real MINUTES]
"""

from __future__ import annotations

import argparse
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

from benchmarks.record import largest, resident
from benchmarks.small_bench import inputs_of, set_points_of, virtual_bench, write_bench
from pyarrow import parquet

from railwright.documents.loader import Documents
from railwright.records.names import readings_file
from railwright.records.readings import read_parquet
from railwright.running.conduct import LEAD_IN
from railwright.running.outcome import InputReading, Progress, RunOutcome
from railwright.running.runner import run
from railwright.twin.launcher import TwinBench

OUTPUTS = ("left.1", "left.2", "right.1", "right.2")
EVERY = 0.01
"""Interval of the readings [s]."""


class Memory(Progress):
    """Notes the memory of this process after each tenth of `duration` [s]."""

    def __init__(self, duration: float) -> None:
        self.after: list[float] = []
        self._tenth = duration / 10

    def reading(self, reading: InputReading) -> None:
        if reading.time >= (len(self.after) + 1) * self._tenth:
            self.after.append(resident())


def documents_of(folder: Path, seconds: float) -> Documents:
    """All inputs go on, stay for so long [s], and go off."""
    order = ", ".join(inputs_of(OUTPUTS))
    steps = f"  - power_up: {{order: [{order}], gap: 20 ms}}\n  - {{hold: {seconds:g} s, name: soak}}"
    return write_bench(
        folder, OUTPUTS, f"{steps}\n  - power_down: {{order: [{order}], gap: 20 ms}}", every=f"{EVERY:g} s"
    )


def play(folder: Path, seconds: float, real: bool) -> tuple[RunOutcome, Memory, float]:
    """The run; also what it took [s]."""
    memory, documents = Memory(seconds), documents_of(folder, seconds)
    given: dict[str, Any] = {"unit": "U", "operator": "O", "folder": folder / "run", "progress": memory}
    begin = time.perf_counter()
    if real:
        with TwinBench(documents.bench, documents.device, documents.procedure) as twins:
            outcome = run(replace(documents, bench=twins.bench), set_points_of(OUTPUTS), **given)
    else:
        with virtual_bench(documents) as (_, link):
            outcome = run(documents, set_points_of(OUTPUTS), link=link, **given)
    return outcome, memory, time.perf_counter() - begin


def account(outcome: RunOutcome) -> None:
    """Print and check what became of every reading of the schedule."""
    end = outcome.record.spans[-1].end
    # From the lead-in on; one that falls due within the last interval may still be under way at the end.
    schedule = len(OUTPUTS) * int((end + LEAD_IN) / EVERY)
    kept = later = 0
    for name in inputs_of(OUTPUTS):
        path = readings_file(outcome.folder, name)
        whole = int((read_parquet(path, name).time <= end).sum())
        kept, later = kept + whole, later + parquet.read_metadata(path).num_rows - whole
    missed = outcome.missed_readings
    print(f"schedule {schedule}: {kept} in Parquet, {missed} left out and counted; {later} while going off")
    unaccounted = schedule - kept - missed
    print(f"unaccounted for: {unaccounted}")
    assert abs(unaccounted) <= 2 * len(OUTPUTS), "each input may differ by one at either end"


def main() -> None:
    """Play, account for every reading, and print the ratio."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=60.0, help="of virtual time")
    parser.add_argument("--real", type=float, default=0.0, metavar="MINUTES", help="of real time instead")
    given = parser.parse_args()
    seconds = 60 * (given.real or given.minutes)
    with tempfile.TemporaryDirectory() as name:
        outcome, memory, took = play(Path(name), seconds, bool(given.real))
        assert outcome.completed, outcome.cause
        print(f"{seconds / 60:g} minutes {'in real' if given.real else 'of virtual'} time took {took:.0f} s")
        print("memory after each tenth: " + ", ".join(f"{each:.1f}" for each in memory.after) + " MB")
        print(f"largest, with what follows the run: {largest():.1f} MB")
        account(outcome)
    print(f"memory at the end / after a tenth: {memory.after[-1] / memory.after[0]:.3f}")


if __name__ == "__main__":
    main()
