"""Runs that are killed, stopped, cut off from their terminal or their disk: parts of the two benchmarks."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.alone

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize(("name", "least"), [("kills", 12), ("terminals", 13)])
def test_whatever_ends_a_run_its_outputs_go_off(name: str, least: int) -> None:
    path = os.pathsep.join([str(ROOT / "src"), str(ROOT)])
    done = subprocess.run(
        [sys.executable, "-m", f"benchmarks.{name}", "--quick"],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": path},
        capture_output=True,
        text=True,
        timeout=300,
    )
    last = re.fullmatch(r"(\d+) of (\d+) cells ended as they should", done.stdout.splitlines()[-1])
    assert last is not None, done.stderr
    assert last[1] == last[2], done.stdout
    assert int(last[1]) >= least
    assert done.returncode == 0
