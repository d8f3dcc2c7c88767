"""Arguments that several commands take, so that they are called and explained alike."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def folder_to_fill(text: str) -> Path:
    """The path of a folder to write into: of an empty name, such as a variable that is not set, the system
    would make the present one.
    """
    if not text:
        raise typer.BadParameter("expected the name of a folder, got an empty one; '.' is the present one")
    return Path(text)


Procedure = Annotated[Path, typer.Argument(metavar="PROCEDURE", help="The procedure document (YAML).")]
RunFolder = Annotated[Path, typer.Argument(metavar="RUN", help="The folder of a run.")]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Print only the outcome and problems.")]
Verbose = Annotated[
    bool,
    typer.Option(
        "--verbose", "-v", help="Print more; on standard error, what was read and how long it took."
    ),
]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON document: SI numbers, stable keys.")]
Seed = Annotated[
    int,
    typer.Option(
        "--seed", min=0, help="The same seed gives the same cases, and the same simulated instruments."
    ),
]
TrueValues = Annotated[
    list[str] | None,
    typer.Option("--true", metavar="NAME=VALUE", help="With --twins: a true parameter, as in 'twin'."),
]
BenchPath = Annotated[Path, typer.Argument(metavar="BENCH", help="The bench document (YAML).")]


def filled(option: str, given: str, *, empty: bool = False) -> str:
    """The text of an option that goes into records: of one line, and more than blanks unless it may be empty.
    BadInput.
    """
    from railwright.arguments import as_filled, as_shown
    from railwright.cli.exits import BadInput

    try:
        return (as_shown if empty else as_filled)(option, given)
    except ValueError as error:
        raise BadInput(f"{error}; write it") from None
