"""What the front door makes of a procedure, as the commands need it."""

from __future__ import annotations

from pathlib import Path

from railwright.cli.detail import USUAL, Detail
from railwright.cli.exits import EndedWith, Exit
from railwright.documents.loader import Documents
from railwright.job import Job
from railwright.settings.check import Checked


def check_documents(
    procedure: Path,
    *,
    rehearsed: bool,
    cases: int = 0,
    seed: int = 1,
    detail: Detail = USUAL,
    simulated: bool = False,
) -> Checked:
    """Load and check, today. simulated: the supplies will be."""
    job = opened(procedure, detail)
    # One figure: the rehearsals that settle the windows are part of the settings.
    with detail.timed("hook-up, settings and rehearsal" if rehearsed else "hook-up and settings"):
        return job.check(static=not rehearsed, cases=cases or None, seed=seed, simulated=simulated).checked


class CheckedToday:
    """The whole check of a procedure as it was read once, worked out again only where the day, or what was
    proved, is another by now: nothing else that it rests on can change.
    """

    def __init__(self, procedure: Path, detail: Detail = USUAL, *, simulated: bool = False) -> None:
        self._job = opened(procedure, detail)
        self._detail, self._simulated = detail, simulated

    def __call__(self) -> Checked:
        """As of now; the same object while nothing has changed."""
        with self._detail.timed("hook-up, settings and rehearsal"):
            return self._job.check(simulated=self._simulated).checked


def hooked_up_documents(procedure: Path) -> Documents:
    """Load, and resolve what the hook-up leaves to the program; EndedWith where nothing fits."""
    from railwright.documents.loader import load_documents
    from railwright.settings.hookup import hooked_up

    hooked = hooked_up(load_documents(procedure))
    if hooked.findings:
        told = "\n".join(f"{f.where}: {f.why}; {f.remedy}" for f in hooked.findings)
        raise EndedWith(Exit.STOPPED, told)
    return hooked.documents


def settle_documents(procedure: Path, detail: Detail = USUAL) -> Checked:
    """Load and settle for a command that needs set points; NotSettled where a limit has none."""
    job = opened(procedure, detail)
    with detail.timed("hook-up and settings"):
        return job.settle().checked


def opened(procedure: Path, detail: Detail) -> Job:
    """The documents, loaded."""
    with detail.timed("reading"):
        job = Job.open(procedure)
    detail.read(job.documents.paths.values())
    return job
