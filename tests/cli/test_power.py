"""`railwright power` on a real terminal: a process behind a pseudo-terminal, twins in real time."""

from __future__ import annotations

from pathlib import Path

import pytest
from benchmarks.pseudo_terminal import PseudoTerminal
from tests.bench import BENCH, DEVICE, PROCEDURE

import railwright as rw
from railwright.records.ended import Ended


def started(folder: Path, *more: str) -> PseudoTerminal:
    given = (DEVICE, BENCH, "main", "--operator", "A. Keeper", "--folder", "kept", "--hook-up", PROCEDURE)
    return PseudoTerminal(folder, "power", *given, "--twins", *more)


@pytest.mark.alone
def test_another_level_a_mark_and_a_terminal_that_is_closed(documents: Path) -> None:
    terminal = started(documents, "--as-procedure", "done.procedure.yaml", "--at-most", "60 s")
    assert terminal.until("Type yes")
    terminal.type("yes\n")
    assert terminal.until("main on", 0.7)
    terminal.type("v9\r")
    assert terminal.until("y to do it")
    terminal.type("y")
    assert terminal.until("level: 9 V", 0.3)
    terminal.type("mdim\r")
    assert terminal.until("1: dim")
    terminal.close()
    assert terminal.code() == 3, terminal.shown[-2000:]
    run = rw.read_run(documents / "kept")
    assert run.off_confirmed
    assert run.stored.data.ended is Ended.INTERRUPTED
    said = [(each.what, each.detail) for each in run.events if each.subject == "main"]
    assert ("level", "9 V") in said
    assert ("asked by hand", "level 9 V, by A. Keeper") in said
    assert float(run["main"].voltage[-20:].max()) < 12.0
    assert rw.open(documents / "done.procedure.yaml").check(static=True, simulated=True).blocked is False


def test_nobody_at_a_terminal_switches_nothing_on(documents, cli):
    result = cli("power", DEVICE, BENCH, "main", "--operator", "A. Keeper")
    assert result.exit_code == 2
    assert result.stderr.count("\n") == 1
    assert "expected a terminal" in result.stderr
