"""`railwright check`: are the documents right, what is to be dialled in and why, what speaks against it?"""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from railwright.cli.arguments import Json, Procedure, Quiet, Seed, Verbose
from railwright.cli.detail import Detail
from railwright.cli.exits import BadInput, Exit

if TYPE_CHECKING:
    from rich.console import Console

    from railwright.settings.check import Checked

Static = Annotated[bool, typer.Option("--static", help="Leave out the rules that need a rehearsal.")]


All = Annotated[
    bool, typer.Option("--all", help="Everything: settings with reasons, windows, findings, what is assumed.")
]
Cases = Annotated[
    int | None,
    typer.Option("--cases", metavar="N", min=1, help="Settle the windows by N cases of the ensemble too."),
]


# One piece: its docstring is the help, and what follows prints in order.
# Many: each is an option of the command line.
def check(
    procedure: Procedure,
    static: Static = False,
    all: All = False,
    cases: Cases = None,
    seed: Seed = 1,
    json: Json = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
) -> Exit:
    """Check the documents: what to dial in, and what was found.

    First comes one screen: may it be energised, the settings, every stop, a line for each kind of caution.
    With --all the rest: each setting with its reason and its window (the interval in which it is right, and
    what decides each end), each finding with its line, the reason in numbers, and what to do.

    Ends that hang on what moves are settled by rehearsal, in corners of everything that is uncertain; with
    --cases in so many cases of the ensemble too; with --static by closed forms alone.

    A finding that stops (and that the procedure does not override) gives exit code 3.
    """
    from railwright.cli.checking import check_documents

    if static and cases is not None:
        raise BadInput("--cases: expected no --static beside it; leave one of them out")
    detail = Detail(quiet, verbose)
    checked = check_documents(procedure, rehearsed=not static, cases=cases or 0, seed=seed, detail=detail)
    settings = checked.settings
    if json:
        from railwright.cli.console import print_json
        from railwright.settings.data import as_data

        print_json(
            {
                "procedure": str(procedure),
                "rehearsed": checked.rehearsal is not None,
                **as_data(settings),
                "measurable": [asdict(each) for each in checked.measurable],
            }
        )
    else:
        _show(procedure, checked, static, quiet, everything=all)
    return Exit.STOPPED if settings.blocked else Exit.DONE


def _show(procedure: Path, checked: Checked, static: bool, quiet: bool, everything: bool) -> None:
    from railwright.cli.console import console
    from railwright.cli.findings import findings_table, problems, summary
    from railwright.cli.summary import print_summary

    settings = checked.settings
    verdict = _verdict(settings.blocked, static)
    if quiet:
        out = console()
        if shown := problems(settings.findings):
            out.print(findings_table(shown))
        out.print(f"{procedure}: {summary(settings.findings)}. {verdict}")
        return
    print_summary(procedure, checked, verdict, whole=everything)
    if everything:
        _show_all(console(), procedure, checked)


def _show_all(out: Console, procedure: Path, checked: Checked) -> None:
    from railwright.cli.assumptions import print_assumptions
    from railwright.cli.findings import findings_table, hook_up_table, measurable_table, settings_table
    from railwright.cli.windows import windows_table
    from railwright.settings.findings import ASSUMED

    settings = checked.settings
    if (chosen := hook_up_table(settings.reasons)) is not None:
        out.print(chosen)
    out.print(settings_table(settings.reasons))
    if settings.windows:
        out.print(windows_table(settings.windows))
        if any(end.replay is not None for window in settings.windows for end in window.ends):
            out.print(f"A rehearsed case is played again by: railwright rehearse {procedure} --corner K")
    if shown := [finding for finding in settings.findings if finding.rule != ASSUMED]:
        out.print(findings_table(shown))
    if checked.rehearsal is not None:
        if checked.measurable:
            out.print(measurable_table(checked.measurable))
        print_assumptions(out, checked.rehearsal.assumptions)


def _verdict(blocked: bool, static: bool) -> str:
    if blocked:
        return "It must not be energised like this."
    return "The rules that need a rehearsal were left out." if static else "It may be energised."
