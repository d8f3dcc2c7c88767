"""`railwright report`: a run and its evaluations as PDF, JSON and JUnit XML."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from railwright.cli.arguments import Quiet, RunFolder, Verbose, filled
from railwright.cli.detail import Detail
from railwright.cli.exits import Exit, complain, say

if TYPE_CHECKING:
    from railwright.evaluation.outcome import Outcome

Customer = Annotated[str | None, typer.Option(help="Whom the report is for.")]
Authorised = Annotated[
    str | None, typer.Option("--authorised-by", metavar="NAME", help="Who authorises the report.")
]
Function = Annotated[str | None, typer.Option(help="That person's function.")]


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
    none is evaluated first. Where it fails, the report of an earlier time stays, and a line says so.
    """
    from railwright.cli.outcomes import code_of_outcome
    from railwright.records.names import JSON, JUNIT, PDF, REPORT

    for option, given in (("customer", customer), ("authorised-by", authorised_by), ("function", function)):
        if given is not None:
            filled(f"--{option}", given, empty=True)
    said = {"customer": customer, "authorised_by": authorised_by, "function": function}
    try:
        path, outcome = write_report(run, said, Detail(quiet, verbose))
    except BaseException:
        earlier = [name for name in (PDF, JSON, JUNIT) if (run / REPORT / name).is_file()]
        if earlier:
            complain(
                f"caution: {run / REPORT}: no new report was written; {', '.join(earlier)} there are of an "
                "earlier one, and may not be true of this folder any more"
            )
        raise
    say(path)
    return code_of_outcome(outcome)


def write_report(run: Path, said: dict[str, str | None], detail: Detail) -> tuple[Path, Outcome]:
    """Build the report of a run; the PDF's path, and the outcome that it states."""
    from railwright.archive.stored import open_stored
    from railwright.records.manifest import files_of
    from railwright.report.of_run import make_report

    with detail.timed("reading"):
        stored = open_stored(run)
    detail.read(stored.documents.paths.values())
    pdf, outcome = make_report(stored, said, detail.timed)
    detail.written(pdf.parent / name for name in files_of(pdf.parent))
    return pdf, outcome
