"""The application: its commands by name. Their modules are light: what they use is imported when they run."""

from __future__ import annotations

from typing import Annotated

import typer

from railwright.cli import (
    check,
    demo,
    evaluate,
    first_power,
    new,
    off,
    rehearse,
    report,
    run,
    sheet,
    twin,
    version_text,
    warm_up,
    waveform,
)
from railwright.cli.exits import EXIT_CODES, complain, guarded
from railwright.compiled_cache import announce

app = typer.Typer(
    help="Shows that a device behaves on its d.c. power inputs: check, rehearse, run, evaluate, report.",
    epilog=EXIT_CODES,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,  # typer's rich help doubles the time to start
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(asked: bool) -> None:
    if asked:
        print(version_text())
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version and exit.")
    ] = False,
) -> None:
    """Options of the program itself; before a command is carried out."""
    announce(complain)


for module in (
    check,
    rehearse,
    run,
    off,
    evaluate,
    report,
    twin,
    demo,
    new,
    first_power,
    sheet,
    waveform,
    warm_up,
):
    app.command(epilog=EXIT_CODES)(guarded(getattr(module, module.__name__.rpartition(".")[2])))
