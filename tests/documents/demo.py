"""The demo's documents, copied for a test to change."""

from __future__ import annotations

import shutil
from pathlib import Path

from railwright.examples import example

FOLDER = example()
DEVICE = "tide-gauge.device.yaml"
BENCH = "quay.bench.yaml"
PROCEDURE = "power-input.procedure.yaml"


def copy_demo(folder: Path) -> Path:
    """Copies of the three documents; the procedure's path."""
    for name in (DEVICE, BENCH, PROCEDURE):
        shutil.copy(FOLDER / name, folder / name)
    return folder / PROCEDURE


def edit(path: Path, old: str, new: str) -> None:
    """Replace the first `old` in a file; it must be there."""
    text = path.read_text(encoding="utf-8")
    assert old in text, f"{old!r} is not in {path.name}"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
