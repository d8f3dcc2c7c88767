"""The command line: one command a file, each importing what it needs only when it runs."""

from __future__ import annotations

import os


def main() -> None:
    """Run the command that `sys.argv` names and exit with its code (see `railwright.cli.exits`)."""
    # Pydantic otherwise looks through all installed packages for plugins of its own at every start.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    from railwright.cli.app import app

    app()
