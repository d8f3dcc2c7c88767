"""Busy loops beside a benchmark: processes that do nothing but count."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager

# A benchmark that is killed ends no process of its own: each loop ends itself when it has another parent.
LOOP = """\
import os, sys
while os.getppid() == int(sys.argv[1]):
    for _ in range(1_000_000):
        pass
"""


@contextmanager
def busy(loops: int) -> Iterator[list[int]]:
    """So many loops while this lasts; gives the ids of their processes."""
    command = [sys.executable, "-S", "-c", LOOP, str(os.getpid())]
    running = [subprocess.Popen(command) for _ in range(loops)]
    try:
        yield [process.pid for process in running]
    finally:
        for process in running:
            process.kill()
            process.wait()


def beside(loops: int) -> str:
    """What stands beside a benchmark, in words."""
    return f"beside {loops} busy {'loop' if loops == 1 else 'loops'}" if loops else "idle"
