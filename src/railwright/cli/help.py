"""Writes `help.txt`, the text of `railwright --help` as typer makes it: python -m railwright.cli.help."""

from __future__ import annotations

import contextlib
import io

from railwright.cli import HELP

WIDTH = 80


def help_text() -> str:
    """What typer prints for `--help`, at a width of 80."""
    from railwright.cli.app import app

    text = io.StringIO()
    with contextlib.redirect_stdout(text):
        app(
            ["--help"],
            prog_name="railwright",
            standalone_mode=False,
            terminal_width=WIDTH,
            max_content_width=WIDTH,
        )
    return text.getvalue()


if __name__ == "__main__":
    HELP.write_text(help_text(), encoding="utf-8")
