"""A procedure of 100,000 segments, one a line, each with figures of its own: how long `check --static` takes.

`python -m benchmarks.segments` writes the demo's documents with such a shape into a temporary folder, runs
`railwright check --static` on them in processes of its own, and takes the median. It also breaks the last
segment but one and demands that its line and column are told.
"""

from __future__ import annotations

import random
import re
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from railwright.examples import example

SEGMENTS = 100_000
BOUND = 2.0
"""Seconds that the check may take."""
TURNS = 5
EXAMPLE = example()
PROCEDURE = "power-input.procedure.yaml"


def segments(count: int, seed: int = 1) -> list[str]:
    """Lines of `count` segments: lines, steps and holds, most with a figure that no other has.

    None is shorter than the 20 ms that the host is taken to keep between set points: the check has no stop.
    """
    draw = random.Random(seed)
    found: list[str] = []
    while len(found) < count:
        found.append(f"{{line_to: {draw.uniform(9.5, 15.5):.3f} V, over: {draw.uniform(25.0, 90.0):.3f} ms}}")
        found.append(f"{{hold: {draw.uniform(25.0, 90.0):.3f} ms}}")
        found.append(f"{{step_to: {draw.uniform(9.5, 15.5):.3f} V}}")
        found.append(f"{{hold: {draw.uniform(25.0, 90.0):.3f} ms}}")
    return [f"        - {each}\n" for each in found[:count]]


def write(folder: Path, lines: list[str]) -> Path:
    """The demo's documents with these segments for its shape; the procedure's path."""
    for path in EXAMPLE.glob("*.yaml"):
        shutil.copy(path, folder)
    path = folder / PROCEDURE
    text = path.read_text("utf-8")
    own = re.compile(r"(?m)(?<=      segments:\n)(?:        - .*\n)+")
    path.write_text(own.sub(lambda _: "".join(lines), text, count=1), encoding="utf-8")
    return path


def children() -> float:
    """Processor time of the processes that were started and have ended [s]."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def check(path: Path) -> tuple[float, float, subprocess.CompletedProcess[str]]:
    """Seconds that `check --static` takes, its processor time [s], and what it said."""
    begin, busy = time.perf_counter(), children()
    command = [sys.executable, "-m", "railwright", "check", "--static", str(path)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    return time.perf_counter() - begin, children() - busy, done


def main() -> int:
    with tempfile.TemporaryDirectory() as name:
        folder, lines = Path(name), segments(SEGMENTS)
        path = write(folder, lines)
        size = path.stat().st_size / 1e6
        times, busy = [], []
        for _ in range(TURNS):
            seconds, own, done = check(path)
            if done.returncode != 0 or "0 stops" not in done.stdout:
                print(done.stdout[-2000:], done.stderr[-2000:])
                return 1
            times.append(seconds)
            busy.append(own)
        broken = [*lines]
        broken[-2] = "        - {step_to: 12 A}\n"
        path = write(folder, broken)
        number = path.read_text("utf-8").splitlines().index(broken[-2].rstrip()) + 1
        *_, done = check(path)
        wanted = f"{PROCEDURE}:{number}:21: expected a voltage such as '12 V', got '12 A': 'A' is a current"
        if done.returncode != 2 or wanted not in done.stderr:
            print(done.stdout[-2000:], done.stderr[-2000:])
            return 1
    taken = statistics.median(times)
    print(f"{SEGMENTS:,} segments, {size:.1f} MB; an error in the last but one is told at line {number}:21")
    print(f"turns: {', '.join(f'{t:.2f}' for t in times)} s; processor time {statistics.median(busy):.2f} s")
    print(f"check --static: {taken:.2f} s (bound {BOUND:g} s)")
    return 0 if taken <= BOUND else 1


if __name__ == "__main__":
    raise SystemExit(main())
