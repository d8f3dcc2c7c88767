"""The notebook of the examples runs from its first cell to its last, and its code passes the type checker."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
NOTEBOOK = ROOT / "examples" / "power-input.ipynb"


@pytest.fixture(scope="module")
def script(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The code of all cells; a cell's last expression, which a notebook shows, is shown."""
    cells = json.loads(NOTEBOOK.read_text("utf-8"))["cells"]
    code = ["".join(cell["source"]) for cell in cells if cell["cell_type"] == "code"]
    assert len(code) >= 6
    path = tmp_path_factory.mktemp("notebook") / "notebook.py"
    path.write_text("\n\n".join(code) + "\n", "utf-8")
    return path


def test_nothing_that_came_out_is_kept_in_it() -> None:
    """What a cell shows differs from machine to machine, and would hide what it really does."""
    cells = [c for c in json.loads(NOTEBOOK.read_text("utf-8"))["cells"] if c["cell_type"] == "code"]
    assert [(cell["outputs"], cell["execution_count"]) for cell in cells] == [([], None)] * len(cells)
    assert len(cells) >= 6


def test_it_runs(script: Path) -> None:
    env = {**os.environ, "PYTHONPATH": str(ROOT / "src")}
    done = subprocess.run(
        [sys.executable, str(script)], capture_output=True, text=True, env=env, timeout=300, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "report.pdf True" in done.stdout
    peaks = [float(line.split()[-2]) for line in done.stdout.splitlines() if line.endswith(" A")]
    # The second is rehearsed with half of the limit.
    assert len(peaks) == 2
    assert peaks[1] < peaks[0]


def test_its_code_passes_the_type_checker(script: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", "--cache-dir", str(script.parent / "cache"), str(script)],
        capture_output=True,
        text=True,
        env={**os.environ, "MYPYPATH": str(ROOT / "src")},
        cwd=ROOT,
        timeout=600,
        check=False,
    )
    assert done.returncode == 0, done.stdout
