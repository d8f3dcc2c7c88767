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

    from railwright.circuit.case import Case, QuantityName
    from railwright.documents.edit import NotEdited
    from railwright.documents.sources import DocumentErrors
    from railwright.evaluation.alignment import AlignmentError
    from railwright.instruments.errors import InstrumentError
    from railwright.job import (
        Blocked,
        Check,
        Energised,
        InputTraces,
        Job,
        Judged,
        NotEnergised,
        NotSettled,
        NotWritten,
        Power,
        Rehearsal,
        Run,
        power,
        power_output,
        read_output,
        set_output,
    )
    from railwright.physics.solver import SolverError
    from railwright.powering.procedures import Typed
    from railwright.quantities.values import Uncertain
    from railwright.recordings.errors import RecordingError
    from railwright.records.names import ExportKind
    from railwright.records.stored import NoRun
    from railwright.running.interruption import StopRequest
    from railwright.running.outcome import RunRefused
    from railwright.watching.watch import BenchLog, watch


__all__ = [
    "AlignmentError",
    "BenchLog",
    "Blocked",
    "Case",
    "Check",
    "DocumentErrors",
    "Energised",
    "ExportKind",
    "InputTraces",
    "InstrumentError",
    "Job",
    "Judged",
    "NoRun",
    "NotEdited",
    "NotEnergised",
    "NotSettled",
    "NotWritten",
    "Power",
    "QuantityName",
    "RecordingError",
    "Rehearsal",
    "Run",
    "RunRefused",
    "SolverError",
    "StopRequest",
    "Typed",
    "Uncertain",
    "__version__",
    "open",
    "power",
    "power_output",
    "read_output",
    "read_run",
    "set_output",
    "watch",
]

_ELSEWHERE = {
    "AlignmentError": "evaluation.alignment",
    "BenchLog": "watching.watch",
    "Case": "circuit.case",
    "DocumentErrors": "documents.sources",
    "ExportKind": "records.names",
    "InstrumentError": "instruments.errors",
    "NoRun": "records.stored",
    "NotEdited": "documents.edit",
    "QuantityName": "circuit.case",
    "RecordingError": "recordings.errors",
    "RunRefused": "running.outcome",
    "SolverError": "physics.solver",
    "Typed": "powering.procedures",
    "StopRequest": "running.interruption",
    "Uncertain": "quantities.values",
    "watch": "watching.watch",
}
"""Modules of what is not in `railwright.job`."""


def open(procedure: str | os.PathLike[str]) -> Job:
    """A job, from the path of its procedure. Raises DocumentErrors with everything that is wrong."""
    from railwright.collection import seldom_collected

    with seldom_collected():
        from railwright.job import Job

        return Job.open(procedure)


def read_run(folder: str | os.PathLike[str]) -> Run:
    """A run, from its folder. Raises NoRun or DocumentErrors where it cannot be read."""
    from railwright.collection import seldom_collected

    with seldom_collected():
        from railwright.job import Run

        return Run.read(folder)


def __getattr__(name: str) -> Any:
    if name in __all__:
        return getattr(import_module(f"railwright.{_ELSEWHERE.get(name, 'job')}"), name)
    raise AttributeError(f"module 'railwright' has no attribute '{name}'")


def __dir__() -> list[str]:
    """What there is to use; the modules below are the program's own."""
    return __all__
