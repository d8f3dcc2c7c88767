"""`railwright new`: commented documents to start from."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from railwright.cli.arguments import Quiet, folder_to_fill
from railwright.cli.detail import Detail
from railwright.cli.exits import BadInput, Exit, say

Folder = Annotated[
    Path,
    typer.Argument(parser=folder_to_fill, metavar="FOLDER", help="Where to write; made where it is missing."),
]


Example = Annotated[
    str | None,
    typer.Option(
        "--example",
        metavar="NAME",
        help="A worked example, with invented data, instead: tide-gauge, buffer-cell.",
    ),
]


def new(folder: Folder, example: Example = None, quiet: Quiet = False) -> Exit:
    """Write commented documents to start from.

    A file that is there already is never overwritten.
    """
    from railwright.documents.templates import TEMPLATES, write_new

    written = write_new(folder, TEMPLATES if example is None else _example(example))
    for path in written:
        say(path)
    procedure = next(path for path in written if "procedure" in path.name)
    first = "" if example else " put in your own figures, then"
    Detail(quiet).say(f"Now{first}: railwright check {procedure}")
    return Exit.DONE


def _example(name: str) -> Path:
    from railwright.documents.sources import hint
    from railwright.examples import example, examples

    there = examples()
    if name not in there:
        known = ", ".join(f"'{each}'" for each in there)
        raise BadInput(f"--example: expected one of the examples {known}, got '{name}'{hint(name, there)}")
    return example(name)
