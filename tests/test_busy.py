"""Busy loops of the benchmarks are there while they are asked for, and never longer."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from benchmarks.busy import busy

ROOT = Path(__file__).parents[1]
BENCHMARK = """\
from benchmarks.busy import busy
with busy(2) as loops:
    print(*loops, flush=True)
    input()
"""


def used(process: int) -> float | None:
    """Processor time of a process so far [s]; None where it has ended."""
    try:
        fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    except FileNotFoundError:
        return None
    return None if fields[0] == "Z" else (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def comes(holds: Callable[[], bool], within: float = 10.0) -> bool:
    end = time.monotonic() + within
    while time.monotonic() < end and not holds():
        time.sleep(0.02)
    return holds()


def test_loops_compute_while_they_are_asked_for() -> None:
    with busy(2) as loops:
        assert len(set(loops)) == 2
        assert comes(lambda: min(used(loop) or 0.0 for loop in loops) > 0.1)
    assert [used(loop) for loop in loops] == [None, None]


def test_loops_of_a_benchmark_that_is_killed_end_themselves() -> None:
    command = [sys.executable, "-c", BENCHMARK]
    with subprocess.Popen(
        command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as benchmark:
        assert benchmark.stdout is not None
        loops = [int(loop) for loop in benchmark.stdout.readline().split()]
        benchmark.kill()
    assert len(loops) == 2
    assert comes(lambda: [used(loop) for loop in loops] == [None, None])
