"""`railwright export`: the readings of a run in files for other programs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from railwright.cli.arguments import Quiet, RunFolder, Verbose, folder_to_fill
from railwright.cli.detail import Detail
from railwright.cli.exits import BadInput, Exit, complain, say
from railwright.records.names import EXPORT_KINDS

# A text: of a choice, typer puts the words of the library that it asks before its message.
To = Annotated[str, typer.Option("--to", metavar=f"<{'|'.join(EXPORT_KINDS)}>", help="The kind of file.")]
Folder = Annotated[
    Path | None,
    typer.Option("--folder", metavar="FOLDER", parser=folder_to_fill, help="Where to; left out: RUN/export."),
]


def export(
    run: RunFolder,
    to: To,
    folder: Folder = None,
    quiet: Quiet = False,
    verbose: Verbose = False,
) -> Exit:
    """Write the readings of a run as CSV, Parquet or HDF5.

    Each file says by itself which run it is of, when its time 0 was, the unit of each column, and what each
    number of a mode means. CSV and Parquet: a file an input and a multimeter, with the columns time_s,
    main_voltage_V, main_current_A, main_mode; HDF5: one file.
    """
    from railwright.job import Run

    detail = Detail(quiet, verbose)
    kind = next((each for each in EXPORT_KINDS if each == to), None)
    if kind is None:
        raise BadInput(f"--to: expected one of {', '.join(EXPORT_KINDS)}, got '{to}'")
    with detail.timed("reading"):
        found = Run.read(run)
    detail.read(found.stored.documents.paths.values())
    for remark in found.stored.remarks:
        complain(f"caution: {remark}")
    with detail.timed("writing"):
        paths = found.export(kind, folder)
    for path in paths:
        say(path)
    return Exit.DONE
