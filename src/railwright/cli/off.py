"""`railwright off`: everything off, whoever holds it. `cli/__init__.py` calls it without this module."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from railwright.cli.exits import Exit

BenchPath = Annotated[Path, typer.Argument(metavar="BENCH", help="The bench document (YAML).")]
Outputs = Annotated[
    list[str] | None,
    typer.Argument(metavar="OUTPUT", help="An output, as left.2, or a supply; left out: all of the bench."),
]


def off(bench: BenchPath, outputs: Outputs = None) -> Exit:
    """Switch outputs off at once, and say what is confirmed.

    Through the guard of a run where one is there, else by itself. It waits for no lock, reads only addresses,
    dialects and channels of the bench document, and ends with 0 where everything was read to be off, with 6
    where something was not: then use the mains switch, and measure before touching.
    """
    from railwright.cli.off_now import off_now

    return off_now(str(bench), outputs or [])
