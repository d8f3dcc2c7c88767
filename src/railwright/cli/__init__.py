"""The command line: one command a file, each importing what it needs only when it runs."""

from __future__ import annotations

import atexit
import gc
import os
import signal
import sys
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING

from railwright.collection import THRESHOLD

if TYPE_CHECKING:
    from railwright.cli.exits import Exit

HELP = Path(__file__).parent / "help.txt"
"""What `railwright --help` prints; `python -m railwright.cli.help` writes it, and a test compares."""


def _help() -> Exit:
    from railwright.cli.exits import Exit

    sys.stdout.write(HELP.read_text(encoding="utf-8"))
    return Exit.DONE


def _version() -> Exit:
    from railwright.cli.exits import Exit, say
    from railwright.version import SOFTWARE

    say(SOFTWARE)
    return Exit.DONE


def main() -> None:
    """Run the command that `sys.argv` names and exit with its code (see `railwright.cli.exits`)."""
    if sys.argv[1:2] == ["off"] and len(sys.argv) > 2 and not any(a.startswith("-") for a in sys.argv[2:]):
        # The one command that is in a hurry.
        from railwright.cli.off_now import command

        command(sys.argv[2:])
    from railwright.cli.streams import tolerate

    tolerate()
    small = {"--help": _help, "-h": _help, "--version": _version}
    if len(sys.argv) == 2 and (answer := small.get(sys.argv[1])) is not None:
        # A question this small should not wait for the libraries that answer the larger ones.
        from railwright.cli.exits import guarded

        guarded(answer)()
    gc.set_threshold(*THRESHOLD)
    # And at the end the interpreter would look through all of them three times before it lets go of them.
    atexit.register(gc.freeze)
    # Pydantic otherwise looks through all installed packages for plugins of its own at every start.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    # And its module that would look loads zipfile and email, 4 % of a check, before it is told not to.
    without_plugins = ModuleType("pydantic.plugin._loader")
    without_plugins.get_plugins = tuple  # type: ignore[attr-defined]
    sys.modules.setdefault(without_plugins.__name__, without_plugins)
    from railwright.cli.commands import COMMANDS, application

    called = sys.argv[1:2]
    app = application(called if called and called[0] in COMMANDS else COMMANDS)
    try:
        app()
    finally:
        # What is left is the interpreter's own end: a Ctrl-C changes nothing of the exit code any more.
        signal.signal(signal.SIGINT, signal.SIG_IGN)
