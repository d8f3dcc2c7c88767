"""`railwright report`: a run and its evaluations as PDF, JSON and JUnit XML."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from railwright.cli.arguments import RunFolder
from railwright.cli.exits import Exit, say

if TYPE_CHECKING:
    pass

Customer = Annotated[str | None, typer.Option(help="Whom the report is for.")]
Authorised = Annotated[
    str | None, typer.Option("--authorised-by", metavar="NAME", help="Who authorises the report.")
]
Function = Annotated[str | None, typer.Option(help="That person's function.")]


def report(
    run: RunFolder, customer: Customer = None, authorised_by: Authorised = None, function: Function = None
) -> Exit:
    """Write the report of a run: PDF, JSON, JUnit XML.

    They go to RUN/report, with the drawings. The exit code is that of the last evaluation; a run that has
    none is evaluated first.
    """
    from railwright.cli.outcomes import code_of_outcome
    from railwright.report.of_run import make_report

    said = {"customer": customer, "authorised_by": authorised_by, "function": function}
    path, outcome = make_report(run, said)
    say(path)
    return code_of_outcome(outcome)
