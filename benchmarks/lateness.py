"""How late set points 10 ms apart leave, through the guard, beside a loop that sleeps until each instant.

A real run on a twin in a process of its own steps an input up and down every 10 ms and reads it every 10 ms
meanwhile. The moment at which a message leaves is the one that the guard stamps just before it hands the
message to the system. Beside it, in the same run of this benchmark, a loop sleeps until each instant of such
a grid and does nothing else. Both once idle and once beside busy loops, in turns.

The last line is the p99 of the run's lateness, idle.

    python -m benchmarks.lateness [--points 500] [--turns 3] [--busy 4]
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from benchmarks.busy import beside, busy
from benchmarks.small_bench import set_points_of, write_bench

from railwright.documents.loader import Documents
from railwright.guard.link import Message
from railwright.guard.process_link import ProcessLink
from railwright.records.log import LogLines
from railwright.running.runner import run
from railwright.twin.launcher import TwinBench

OUTPUTS = ("left.1",)
APART = 0.01
"""Time between two set points [s]."""


class NotingLink(ProcessLink):
    """Also notes how long after its time each set point left [s]."""

    def __init__(self) -> None:
        super().__init__()
        self.late: list[float] = []

    def exchange(
        self,
        name: str,
        text: str,
        deadline: float,
        *,
        answers: bool = True,
        at: float | None = None,
        more: Sequence[str] = (),
    ) -> Message:
        got = super().exchange(name, text, deadline, answers=answers, at=at, more=more)
        if at is not None:
            self.late.append(got["sent"] - at)
        return got


@dataclass
class Series:
    """What came of one run: lateness of messages as they left and as the run records it [s], counts."""

    left: list[float]
    recorded: list[float]
    left_out: int
    missed: int
    readings: int


def documents_of(folder: Path, points: int) -> Documents:
    """Steps between 11 V and 12 V, each held for 10 ms."""
    pair = "{step_to: 11 V}, {hold: 10 ms}, {step_to: 12 V}, {hold: 10 ms}"
    steps = f"""  - power_up: {{order: [in1]}}
  - {{hold: 300 ms}}
  - shape: {{input: in1, segments: [{pair}], repeat: {points // 2}}}
    name: steps
  - power_down: {{order: [in1]}}"""
    return write_bench(folder, OUTPUTS, steps, every="10 ms", points=False)


def of_run(documents: Documents, folder: Path) -> Series:
    """Play the run and take what it left behind."""
    link = NotingLink()
    outcome = run(documents, set_points_of(OUTPUTS), unit="U", operator="O", folder=folder, link=link)
    assert outcome.completed, outcome.cause
    recorded = [
        line["late"]
        for line in LogLines(folder / "log.ndjson")
        if line["kind"] == "action" and line["what"] == "set"
    ]
    left_out = sum(span.left_out for span in outcome.record.spans)
    rows = outcome.record.traces["in1"].time.size
    return Series(link.late, recorded, left_out, outcome.missed_readings, rows)


def of_sleep(points: int) -> list[float]:
    """Lateness of a loop that sleeps until each instant [s]."""
    begin, late = time.monotonic() + APART, []
    for point in range(points):
        due = begin + point * APART
        time.sleep(max(0.0, due - time.monotonic()))
        late.append(time.monotonic() - due)
    return late


def shown(what: str, late: list[float]) -> float:
    """Print p50, p99 and the worst; gives p99 [ms]."""
    middle, high, worst = (1e3 * float(np.percentile(late, part)) for part in (50, 99, 100))
    print(f"  {what}: p50 {middle:.2f} ms, p99 {high:.2f} ms, worst {worst:.1f} ms, of {len(late)}")
    return high


def main() -> None:
    """Both in turns, idle and beside busy loops."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--points", type=int, default=500)
    parser.add_argument("--turns", type=int, default=3)
    parser.add_argument("--busy", type=int, default=4)
    given = parser.parse_args()
    idle = 0.0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        documents = documents_of(folder, given.points)
        with TwinBench(documents.bench, documents.device, documents.procedure) as twins:
            documents = replace(documents, bench=twins.bench)
            for loops in (0, given.busy):
                with busy(loops):
                    runs, sleeps = [], []
                    for turn in range(given.turns):
                        sleeps += of_sleep(given.points)
                        runs.append(of_run(documents, folder / f"run{loops}-{turn}"))
                print(f"{beside(loops)}:")
                shown("bare sleep loop", sleeps)
                high = shown("messages as they left", [late for each in runs for late in each.left])
                shown("as the run records it", [late for each in runs for late in each.recorded])
                counts = [
                    sum(getattr(each, key) for each in runs) for key in ("left_out", "missed", "readings")
                ]
                print(f"  set points left out {counts[0]}, readings missed {counts[1]}, recorded {counts[2]}")
                idle = idle or high
    print(f"p99 of the lateness of set points 10 ms apart, idle: {idle:.2f} ms")


if __name__ == "__main__":
    main()
