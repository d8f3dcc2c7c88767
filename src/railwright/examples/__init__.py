"""Worked examples with invented data: one folder each, shipped as data of the package."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

TIDE_GAUGE = "tide-gauge"
"""The example of the tutorial and the demonstration."""


def example(name: str = TIDE_GAUGE) -> Path:
    """Folder of an example. The package always lies on disk as files: compiled code needs that too."""
    return Path(str(files(__name__))) / name


def examples() -> list[str]:
    """Names of the examples that there are."""
    return sorted(path.name for path in example().parent.iterdir() if any(path.glob("*.procedure.yaml")))
