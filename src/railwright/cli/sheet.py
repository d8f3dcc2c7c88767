"""`railwright sheet`: one printable page from which the bench can be set up without this program."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Annotated

import typer

from railwright.cli.arguments import Procedure, Quiet, Verbose
from railwright.cli.detail import Detail
from railwright.cli.exits import BadInput, Exit, say

To = Annotated[
    Path | None,
    typer.Option(
        "--to", metavar="FILE", help="A .pdf or .svg file. Default: beside PROCEDURE, ending .sheet.pdf"
    ),
]


def sheet(procedure: Procedure, to: To = None, quiet: Quiet = False, verbose: Verbose = False) -> Exit:
    """Write the set-up sheet: one page to print.

    Wiring drawing with polarity, conductors, sense leads, links, returns and earth, every wire also in words;
    what to dial in on each output, in which order, what to verify, and cautions.

    A finding that stops stands on the sheet, and gives exit code 3.
    """
    from railwright.cli.checking import settle_documents
    from railwright.records.manifest import write_atomically
    from railwright.report.sheet import sheet_of
    from railwright.report.sheet_page import sheet_pdf, sheet_svg

    path = to if to is not None else procedure.with_name(procedure.name.split(".")[0] + ".sheet.pdf")
    if path.suffix.lower() not in (".pdf", ".svg"):
        raise BadInput(f"--to: expected a file that ends in .pdf or .svg, got '{path}'")
    detail = Detail(quiet, verbose)
    checked = settle_documents(procedure, detail)
    now = dt.datetime.now().astimezone()
    data = sheet_of(checked.documents, checked.settings, now.date())
    with detail.timed("sheet"):
        write_atomically(path, sheet_svg(data) if path.suffix.lower() == ".svg" else sheet_pdf(data, now))
    say(path)
    return Exit.STOPPED if checked.settings.blocked else Exit.DONE
