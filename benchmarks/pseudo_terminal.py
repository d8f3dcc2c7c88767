"""A command of railwright behind a pseudo-terminal, as a person would have it in front of them."""

from __future__ import annotations

import os
import pty
import select
import signal
import sys
import time
from pathlib import Path

PATIENCE = 90.0
"""How long it is waited for anything [s]."""


class PseudoTerminal:
    """A command that has begun; `shown` is what it wrote so far."""

    def __init__(self, folder: Path, *arguments: str) -> None:
        command = [sys.executable, "-m", "railwright", *arguments]
        self.child, self.end = pty.fork()
        if self.child == 0:
            os.chdir(folder)
            # Whoever began this may have them ignored, such as a shell in its background, or nohup.
            for each in (signal.SIGHUP, signal.SIGINT, signal.SIGQUIT):
                signal.signal(each, signal.SIG_DFL)
            os.execvpe(command[0], command, {**os.environ, "TERM": "xterm", "COLUMNS": "120"})
        self.shown, self.begun = b"", time.monotonic()
        self._closed = False

    def until(self, text: str, lasts: float = 0.0) -> bool:
        """Read until it shows a text, and so long after that [s]; whether it did before it ended."""
        while text.encode() not in self.shown:
            if time.monotonic() - self.begun > PATIENCE or not self._read(0.1):
                return False
        after = time.monotonic() + lasts
        while time.monotonic() < after:
            if not self._read(0.02):
                return True
        return True

    def type(self, keys: str) -> None:
        os.write(self.end, keys.encode())

    def close(self) -> None:
        """The terminal goes away."""
        if not self._closed:
            self._closed = True
            os.close(self.end)

    def code(self) -> int:
        """Read to its end; its exit code, below 0 the signal that ended it."""
        while not self._closed and self._read(0.1):
            if time.monotonic() - self.begun > PATIENCE:
                os.kill(self.child, signal.SIGTERM)
        code = os.waitstatus_to_exitcode(os.waitpid(self.child, 0)[1])
        self.close()
        return code

    def _read(self, wait: float) -> bool:
        """What it has written since; False: it, or the terminal, is gone."""
        if self._closed:
            return False
        if select.select([self.end], [], [], wait)[0]:
            try:
                piece = os.read(self.end, 65536)
            except OSError:  # the other end is closed
                return False
            self.shown += piece
            return bool(piece)
        return True
