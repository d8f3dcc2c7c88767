"""What commands print steers no terminal, whatever documents, files and instruments say."""

from __future__ import annotations

import json

import pytest

from railwright.cli.console import console, print_json, table
from railwright.cli.exits import BadInput, Exit, complain, guarded

HOSTILE = "a\x1b[2J\x9b31m\u202e\x07b"


def shown(text: str) -> str:
    """What stands in a terminal's stream of it; raises where something steers."""
    assert not [c for c in text if ord(c) < 32 and c not in "\n\t"]
    assert not [c for c in text if 127 <= ord(c) < 160 or 0x202A <= ord(c) <= 0x202E]
    return text


def test_a_complaint(capsys):
    complain(HOSTILE)
    assert shown(capsys.readouterr().err) == r"a\x1b[2J\x9b31m\u202e\x07b" + "\n"


def test_an_error_of_a_command(capsys):
    def command() -> Exit:
        raise BadInput(HOSTILE)

    with pytest.raises(SystemExit):
        guarded(command)()
    assert r"a\x1b[2J" in shown(capsys.readouterr().err)


def test_a_fault_of_the_program(capsys):
    def command() -> Exit:
        raise RuntimeError(HOSTILE)

    with pytest.raises(SystemExit):
        guarded(command)()
    told = shown(capsys.readouterr().err)
    assert "Traceback" in told
    assert r"a\x1b[2J" in told


def test_lines_and_tables(capsys):
    out = console()
    out.print(HOSTILE)
    out.print(table("T", ("A", "B"), [(HOSTILE, "x")]))
    assert shown(capsys.readouterr().out).count(r"a\x1b[2J\x9b31m\u202e\x07b") == 2


def test_json_is_still_the_same_json(capsys):
    print_json({"a": HOSTILE, "b": "Ω"})
    assert json.loads(shown(capsys.readouterr().out)) == {"a": HOSTILE, "b": "Ω"}
    print_json({"b": "Ω"})
    assert "Ω" in capsys.readouterr().out


@pytest.mark.parametrize("columns", ["40", "120"])
def test_lines_that_go_to_no_terminal_end_with_their_last_word(columns, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", columns)
    console().print(table("Title", ("One", "Other"), [("a", "b  "), ("", "word " * 30)]))
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) > 5
    assert [line for line in lines if line != line.rstrip()] == []
    assert sum(line.split().count("word") for line in lines) == 30


def test_a_table_without_rows_is_not_printed(capsys):
    out = console()
    out.print(table("Requirements", ("One", "Other"), []))
    assert capsys.readouterr().out == ""
    out.print(table("Requirements", ("One", "Other"), [("a", "b")]))
    assert "Requirements" in capsys.readouterr().out


@pytest.mark.parametrize("place", [0, 1, 2])
def test_what_stands_beside_a_table_without_rows_is_printed(place, capsys):
    given = ["first", table("Requirements", ("One", "Other"), [("a", "b")])]
    given.insert(place, table("Events", ("When", "What"), []))
    out = console()
    out.print(*given)
    words = capsys.readouterr().out.split()
    assert (words[:2], words[-2:]) == (["first", "Requirements"], ["a", "b"])
    assert "Events" not in words
    out.print()
    assert capsys.readouterr().out == "\n"
