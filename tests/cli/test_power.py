"""`railwright power` on a real terminal: a process behind a pseudo-terminal, twins in real time."""

from __future__ import annotations

import os
import pty
import select
import signal
import sys
import time
from pathlib import Path

import pytest
from tests.bench import BENCH, DEVICE, PROCEDURE

import railwright as rw
from railwright.records.ended import Ended

PATIENCE = 90.0


class Terminal:
    """A command behind a pseudo-terminal."""

    def __init__(self, folder: Path, *arguments: str) -> None:
        command = [sys.executable, "-m", "railwright", *arguments]
        self.child, self.end = pty.fork()
        if self.child == 0:
            os.chdir(folder)
            os.execvpe(command[0], command, {**os.environ, "TERM": "xterm", "COLUMNS": "120"})
        self.shown, self.begun = b"", time.monotonic()

    def until(self, text: str, lasts: float = 0.0) -> None:
        """Read until it shows a text, and so long after that [s]."""
        while text.encode() not in self.shown:
            assert time.monotonic() - self.begun < PATIENCE, self.shown[-2000:]
            self._read(0.1)
        after = time.monotonic() + lasts
        while time.monotonic() < after:
            self._read(0.05)

    def type(self, keys: str) -> None:
        os.write(self.end, keys.encode())

    def code(self) -> int:
        while self._read(0.1):
            if time.monotonic() - self.begun > PATIENCE:
                os.kill(self.child, signal.SIGTERM)
        return os.waitstatus_to_exitcode(os.waitpid(self.child, 0)[1])

    def _read(self, wait: float) -> bool:
        if select.select([self.end], [], [], wait)[0]:
            try:
                piece = os.read(self.end, 65536)
            except OSError:  # the other end is closed
                return False
            self.shown += piece
            return bool(piece)
        return True


def started(folder: Path, *more: str) -> Terminal:
    given = (DEVICE, BENCH, "main", "--operator", "A. Keeper", "--folder", "kept", "--hook-up", PROCEDURE)
    return Terminal(folder, "power", *given, "--twins", *more)


@pytest.mark.alone
def test_another_level_a_mark_off_and_what_was_done_as_a_procedure(documents: Path) -> None:
    terminal = started(documents, "--as-procedure", "done.procedure.yaml", "--at-most", "60 s")
    terminal.until("Type yes")
    terminal.type("yes\n")
    terminal.until("main on", 0.7)
    terminal.type("v9\r")
    terminal.until("y to do it")
    terminal.type("y")
    terminal.until("level: 9 V", 0.3)
    terminal.type("mdim\r")
    terminal.until("1: dim")
    terminal.type("q")
    assert terminal.code() == 0, terminal.shown[-2000:]
    assert b"completed, off confirmed" in terminal.shown
    run = rw.read_run(documents / "kept")
    assert run.off_confirmed
    said = [(each.what, each.detail) for each in run.events if each.subject == "main"]
    assert ("level", "9 V") in said
    assert ("asked by hand", "end, by A. Keeper") in said
    assert float(run["main"].voltage[-20:].max()) < 12.0
    assert rw.open(documents / "done.procedure.yaml").check(static=True, simulated=True).blocked is False


@pytest.mark.alone
def test_a_terminal_that_is_closed_switches_off(documents: Path) -> None:
    terminal = started(documents)
    terminal.until("Type yes")
    terminal.type("yes\n")
    terminal.until("main on", 0.3)
    os.close(terminal.end)
    assert os.waitstatus_to_exitcode(os.waitpid(terminal.child, 0)[1]) == 3
    run = rw.read_run(documents / "kept")
    assert run.off_confirmed
    assert run.stored.data.ended is Ended.INTERRUPTED


def test_nobody_at_a_terminal_switches_nothing_on(documents, cli):
    result = cli("power", DEVICE, BENCH, "main", "--operator", "A. Keeper")
    assert result.exit_code == 2
    assert result.stderr.count("\n") == 1
    assert "expected a terminal" in result.stderr
