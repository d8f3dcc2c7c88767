"""`railwright new`: commented documents to start from."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from railwright.cli.exits import Exit, say

Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="Where to write; made where it is missing.")]


def new(folder: Folder) -> Exit:
    """Write commented documents to start from.

    A file that is there already is never overwritten.
    """
    from railwright.documents.templates import write_new

    written = write_new(folder)
    for path in written:
        say(path)
    procedure = next(path for path in written if "procedure" in path.name)
    say(f"Now put in your own figures, then: railwright check {procedure}")
    return Exit.DONE
