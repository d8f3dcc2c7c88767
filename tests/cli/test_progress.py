"""How far a computation is: a bar on a terminal, else a line now and then with the time that is left."""

from __future__ import annotations

import itertools

import pytest
from tests.said import says

from railwright.cli import progress as module


def test_lines_say_how_long_it_still_takes(monkeypatch, capsys):
    """A quarter is done after 3 s: 9 s are left. Then a line in ten seconds; nothing once all is done."""
    clock = itertools.chain([0.0, 1.0, 3.0, 5.0, 13.5, 20.0])
    monkeypatch.setattr(module.time, "monotonic", lambda: next(clock))
    with module.progress("sensitivity") as told:
        for done in (50, 100, 150, 300, 400):
            told(done, 400)
    printed = capsys.readouterr()
    first, second = printed.err.splitlines()
    assert says(first, "sensitivity", "100 of 400", "9 s")
    assert says(second, "300 of 400", "4 s")  # 13.5 s for 300 of them: 4.5 s for 100
    assert printed.out == ""


@pytest.mark.parametrize("quiet", [True, False])
def test_quiet_says_nothing(monkeypatch, capsys, quiet):
    monkeypatch.setattr(module, "FIRST", 0.0)
    with module.progress("rehearsing", quiet) as told:
        told(1, 2)
    assert bool(capsys.readouterr().err) is not quiet


def test_sensitivity_tells_errors_and_progress(documents, cli, monkeypatch):
    monkeypatch.setattr(module, "FIRST", 0.0)
    result = cli("rehearse", "power-input.procedure.yaml", "--cases", "8", "--sensitivity")
    assert says(result.stderr, "sensitivity:", "of 3456", "left")  # 128 · (13 + 2 + 10 + 2)
    assert "main: Inrush charge" in result.stdout
    assert "±: 95 %" in result.stdout
