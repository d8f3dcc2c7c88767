"""`railwright report`: a run and its evaluations as PDF, JSON and JUnit XML."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from railwright.cli.arguments import Quiet, RunFolder, Verbose
from railwright.cli.detail import USUAL, Detail
from railwright.cli.exits import Exit, say

if TYPE_CHECKING:
    from railwright.cli.stored import StoredRun

Customer = Annotated[str | None, typer.Option(help="Whom the report is for.")]
Authorised = Annotated[
    str | None, typer.Option("--authorised-by", metavar="NAME", help="Who authorises the report.")
]
Function = Annotated[str | None, typer.Option(help="That person's function.")]

TWIN_MAKER = "Railwright"
"""How a twin names its maker in *IDN?: a run on one is reported as simulated."""


def report(
    run: RunFolder,
    customer: Customer = None,
    authorised_by: Authorised = None,
    function: Function = None,
    quiet: Quiet = False,
    verbose: Verbose = False,
) -> Exit:
    """Write the report of a run: PDF, JSON, JUnit XML.

    They go to RUN/report, with the drawings. The exit code is that of the last evaluation; a run that has
    none is evaluated first.
    """
    from railwright.cli.outcomes import code_of_outcome

    said = {"customer": customer, "authorised_by": authorised_by, "function": function}
    path, outcome = make_report(run, said, Detail(quiet, verbose))
    say(path)
    return code_of_outcome(outcome)


def make_report(run: Path, said: dict[str, str | None], detail: Detail = USUAL) -> tuple[Path, Any]:
    """Build the report of a run; the PDF's path, and the outcome that it states."""
    from railwright.cli.stored import add_to_manifest, evaluate_run, evaluations_of, open_stored
    from railwright.rehearsal.rehearse import rehearse
    from railwright.report import ReportInput, build_report
    from railwright.settings.delivery import played_timeline

    with detail.timed("reading"):
        stored = open_stored(run)
        evaluations, external = evaluations_of(stored)
    detail.read(stored.documents.paths.values())
    if not evaluations:
        with detail.timed("evaluation"):
            evaluations = (evaluate_run(stored, []),)
    played = played_timeline(stored.documents, stored.settings.set_points)
    with detail.timed("rehearsal"):
        rehearsal = rehearse(stored.documents, stored.settings.set_points, timeline=played)
    given = ReportInput(
        documents=stored.documents,
        set_points=stored.settings.set_points,
        reasons=stored.settings.reasons,
        findings=stored.settings.findings,
        rehearsal=rehearsal.record,
        measured=stored.data.record,
        evaluations=evaluations,
        run=run_facts_of(stored) | said,
        reported=dt.datetime.now().astimezone().replace(microsecond=0),
        external=external,
        assumptions=rehearsal.assumptions,
    )
    with detail.timed("report"):
        pdf = build_report(given, run / "report")
    files = [path for path in sorted(pdf.parent.rglob("*")) if path.is_file()]
    detail.written(files)
    add_to_manifest(stored, [path.relative_to(run).as_posix() for path in files])
    return pdf, evaluations[-1].outcome


def run_facts_of(stored: StoredRun) -> dict[str, Any]:
    """What the report says of the run, under the names that the report knows."""
    from railwright.running.manifest import hash_file

    about = stored.data.about
    instruments = [
        {**entry, "identification": _identification(entry.get("identification"))}
        for entry in about["instruments"]
    ]
    makers = {(entry.get("identification") or {}).get("maker") for entry in about["instruments"]}
    documents = about.get("documents") or {}
    ending = stored.ending
    return {
        "run_id": about["run"],
        "unit": about["unit"],
        "operator": about["operator"],
        "laboratory": about.get("laboratory"),
        "ambient": about.get("ambient"),
        "instruments": instruments,
        "start": about.get("began") or about.get("started"),
        "end": about.get("finished"),
        "ended": _ended(stored),
        "ending": ending,
        "switched_off": about.get("switched_off") or {},
        "simulated": TWIN_MAKER in makers,
        "software_version": about.get("software"),
        "document_hashes": {name: hash_file(stored.folder / name) for name in documents.values()},
        "deviations": [*(about.get("deviations") or ()), *(about.get("cautions") or ()), *stored.differences],
    }


def _ended(stored: StoredRun) -> str:
    """How the run ended, and why."""
    from railwright.running.outcome import ENDED_TEXTS, Ended

    text, cause = ENDED_TEXTS[stored.data.ended], stored.data.about.get("cause")
    if not (stored.ending.early and cause):
        return text
    # What killed it is in the cause, as far as its guard knows.
    return f"{text.partition(':')[0] if stored.data.ended is Ended.KILLED else text}: {cause}"


def _identification(data: dict[str, str] | None) -> str:
    return (
        ", ".join(data[key] for key in ("maker", "model", "serial", "version") if data.get(key))
        if data
        else ""
    )
