"""The commands by name. Their modules are imported where they are asked for, what those use when they run."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import import_module
from typing import Annotated

import typer

from railwright.cli.exits import EXIT_CODES, complain, guarded
from railwright.compiled_cache import announce
from railwright.version import SOFTWARE

COMMANDS = (
    "check",
    "rehearse",
    "run",
    "off",
    "watch",
    "evaluate",
    "report",
    "export",
    "twin",
    "demo",
    "new",
    "first-power",
    "sheet",
    "explain",
    "waveform",
    "warm-up",
    "dialect",
    "find",
    "probe",
    "prove",
    "power",
    "output",
    "message",
)
"""In the order in which the help lists them; each is a module and a function, `_` for `-`."""


def application(names: Sequence[str] = COMMANDS) -> typer.Typer:
    """The application with these commands. With only the one that is called it starts soonest."""
    app = typer.Typer(
        help="Shows that a device behaves on its d.c. power inputs: check, rehearse, run, evaluate, report.",
        epilog=EXIT_CODES,
        no_args_is_help=True,
        add_completion=False,
        rich_markup_mode=None,  # typer's rich help doubles the time to start
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    app.callback()(_options)
    for name in names:
        word = name.replace("-", "_")
        command = getattr(import_module(f"railwright.cli.{word}"), word)
        app.command(epilog=EXIT_CODES)(guarded(command))
    return app


def _version(asked: bool) -> None:
    if asked:
        print(SOFTWARE)
        raise typer.Exit


def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version and exit.")
    ] = False,
) -> None:
    """Options of the program itself; before a command is carried out."""
    announce(complain)
