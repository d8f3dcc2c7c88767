"""The command line: one command a file, each importing what it needs only when it runs."""

from __future__ import annotations


def main() -> None:
    """Run the command that `sys.argv` names and exit with its code (see `railwright.cli.exits`)."""
    from railwright.cli.app import app

    app()
