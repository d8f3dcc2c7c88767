"""What the front door makes of a procedure, as the commands need it."""

from __future__ import annotations

from pathlib import Path

from railwright.job import Job
from railwright.settings.check import Checked


def check_documents(procedure: Path, *, rehearsed: bool, cases: int = 0, seed: int = 1) -> Checked:
    """Load and check, today."""
    return Job.open(procedure).check(static=not rehearsed, cases=cases, seed=seed).checked


def settle_documents(procedure: Path) -> Checked:
    """Load and settle for a command that needs set points; NotSettled where a limit has none."""
    return Job.open(procedure).settle().checked
