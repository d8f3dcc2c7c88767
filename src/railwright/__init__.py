"""Railwright: set, rehearse, run and judge tests of a device's d.c. power inputs.

    import railwright as rw

    job = rw.open("power-input.procedure.yaml")
    check = job.check()
    run = check.run(unit="S-1", operator="A. Keeper", twins=True)
    run.evaluate().to_dataframe()

Everything below is imported when it is first asked for.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from railwright.version import __version__

if TYPE_CHECKING:
    import os

    from railwright.job import Check, InputTraces, Job, Judged, Rehearsal, Run


__all__ = ["Check", "InputTraces", "Job", "Judged", "Rehearsal", "Run", "__version__", "open", "read_run"]


def open(procedure: str | os.PathLike[str]) -> Job:
    """A job, from the path of its procedure. Raises DocumentErrors with everything that is wrong."""
    from railwright.job import Job

    return Job.open(procedure)


def read_run(folder: str | os.PathLike[str]) -> Run:
    """A run, from its folder. Raises NoRun or DocumentErrors where it cannot be read."""
    from railwright.job import Run

    return Run.read(folder)


def __getattr__(name: str) -> Any:
    if name in __all__:
        return getattr(import_module("railwright.job"), name)
    raise AttributeError(f"module 'railwright' has no attribute '{name}'")
