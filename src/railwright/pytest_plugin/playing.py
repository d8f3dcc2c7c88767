"""A procedure as a test plays it: checked, on simulated supplies or on the bench of the command line."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from railwright.dialects.dialect import DialectError
from railwright.documents.proof_files import ProofFileError
from railwright.documents.sources import DocumentErrors
from railwright.evaluation.outcome import Outcome
from railwright.instruments.errors import InstrumentError
from railwright.job import Blocked, Check, Job, Judged, NotEnergised, NotSettled, Run
from railwright.physics.solver import SolverError
from railwright.printable import printable
from railwright.pytest_plugin.session import BENCH, RUNS
from railwright.recordings.errors import RecordingError
from railwright.records.stored import NoRun
from railwright.running.folder import default_folder
from railwright.running.outcome import RunRefused

KNOWN = (
    *(Blocked, DialectError, DocumentErrors, InstrumentError, NoRun, NotEnergised, NotSettled),
    *(ProofFileError, RecordingError, RunRefused, SolverError),
)
"""What is somebody's, not this program's: told in its own lines, without a trace."""

SIMULATED = "simulated supplies"


class Way(NamedTuple):
    """How a procedure is run. given: for the run. on: which supplies, for people."""

    check: Check
    given: dict[str, Any]
    on: str


def way_of(config: pytest.Config, job: Job) -> Way:
    """How it is run in this session; its check is made here, before anything else is."""
    bench = config.stash.get(BENCH, None)
    if bench is None or not job.documents.paths["bench"].samefile(bench.document):
        given = {"unit": "simulated", "operator": "pytest", "folder": _folder(config, job.path)}
        return Way(job.check(simulated=True), {**given, "twins": True}, SIMULATED)
    given = {"unit": bench.unit, "operator": bench.operator}
    place = _free(default_folder(job.path, bench.unit))
    return Way(job.check(), {**given, "folder": place}, f"bench {bench.document}")


def _folder(config: pytest.Config, procedure: Path) -> Path:
    """Where a run on simulated supplies is kept: beside the temporary folders of tests."""
    name = procedure.name.split(".")[0]
    factory: pytest.TempPathFactory | None = getattr(config, "_tmp_path_factory", None)
    if factory is not None:
        return factory.mktemp(f"run-{name}") / "run"
    return Path(tempfile.mkdtemp(prefix=f"run-{name}-")) / "run"


def _free(folder: Path) -> Path:
    """A folder of that name that is not there yet: of two runs that begin within a second, each its own."""
    number, free = 1, folder
    while free.exists():
        number += 1
        free = folder.with_name(f"{folder.name}-{number}")
    return free


def judged(config: pytest.Config, way: Way, run: Run) -> Judged:
    """A run that is over, judged; one on a bench is told at the end of the session."""
    found = run.evaluate()
    if way.on != SIMULATED:
        ending = run.stored.ending
        lines = [f"{run.folder}: {ending.words}; {found.outcome.value}"]
        if not run.off_confirmed:
            lines += [f"OFF NOT CONFIRMED: {line}" for line in ending.not_confirmed]
        config.stash.setdefault(RUNS, []).extend(printable(line) for line in lines)
    return found


def properties(way: Way, run: Run, row: dict[str, Any], prefix: str = "") -> Iterator[tuple[str, Any]]:
    """What a report of tests says of a requirement: its row, SI units, and where the record of it lies."""
    for key, value in row.items():
        if value is not None and key != "requirement":
            yield f"{prefix}{key}", value if isinstance(value, str) else float(value)
    yield f"{prefix}run", str(run.folder)
    yield f"{prefix}played_on", way.on


def why_no_pass(found: Judged, row: dict[str, Any]) -> str:
    """Why a requirement is no pass, in a line; '' where it is one, or was not to be judged. Of a run that
    ended early, or was not confirmed off, nothing is.
    """
    outcome, withheld = Outcome(row["outcome"]), found.evaluation.withheld
    if outcome is Outcome.PASS:
        return f"inconclusive: {withheld}" if withheld else ""
    return "" if outcome is Outcome.NOT_JUDGED else f"{outcome.value}: {row['reason']}"
