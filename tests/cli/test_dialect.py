"""`railwright dialect`: what is listed, checked and refused; trying is in `instruments/test_trying.py`."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import jsonschema
import pytest
from ruamel.yaml import YAML
from tests.bench import replaced
from tests.instruments.terse_supply import DIALECT
from typer.testing import Result

from railwright.dialects.dialect import NEEDED, Dialect, DialectError
from railwright.dialects.files import FOLDER, USER_FOLDER, dialect_names, dialect_text
from railwright.documents.dialect_files import read_dialect

REQUIRED_PARTS = {"instrument": "InstrumentCommands", "status": "StatusCommands"}
"""Of those that have to be there, the ones with keys that have to be there."""


def test_the_list_has_the_package_s_and_your_own(
    cli: Callable[..., Result], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "dialects").mkdir()
    (tmp_path / "dialects" / "mine.yaml").write_text("", "utf-8")
    monkeypatch.setenv(USER_FOLDER, str(tmp_path))
    result = cli("dialect", "list", "--json")
    assert result.exit_code == 0
    found = json.loads(result.stdout)["dialects"]
    assert [each["name"] for each in found] == [*dialect_names(), "mine"]
    assert all(Path(each["file"]).is_file() for each in found)
    assert Path(found[-1]["file"]) == tmp_path / "dialects" / "mine.yaml"
    assert str(tmp_path / "dialects" / "mine.yaml") in cli("dialect", "list").stdout


@pytest.mark.parametrize("name", dialect_names())
def test_every_operation_is_given_missing_impossible_told_or_by_hand(
    cli: Callable[..., Result], name: str
) -> None:
    result = cli("dialect", "check", name, "--json")
    assert result.exit_code == 0
    rows = {row["operation"]: row for row in json.loads(result.stdout)["operations"]}
    assert {row["state"] for row in rows.values()} <= {"given", "missing", "impossible", "told", "by hand"}
    assert rows["voltage"]["state"] == rows["output"]["state"] == "given"
    assert all(bool(row["command"] or row["query"]) for row in rows.values() if row["state"] == "given")
    assert not any(
        row["command"] or row["query"] for row in rows.values() if row["state"] in ("missing", "impossible")
    )


def test_what_is_checked_says_where_its_file_lies(cli: Callable[..., Result], tmp_path: Path) -> None:
    own = tmp_path / "own.dialect.yaml"
    own.write_text(dialect_text("channel-list"), "utf-8")
    for given, path in (("channel-list", FOLDER / "channel-list.yaml"), (own, own)):
        assert json.loads(cli("dialect", "check", given, "--json").stdout)["file"] == str(path)
        assert cli("dialect", "check", given, "-q").stdout.replace("\n", "").endswith(str(path))


def test_what_a_session_begins_and_ends_with_is_checked(cli: Callable[..., Result]) -> None:
    rows = {
        row["operation"]: row
        for row in json.loads(cli("dialect", "check", "selected-apart", "--json").stdout)["operations"]
    }
    opening, closing = rows["opening"], rows["closing"]
    assert (opening["command"], opening["query"]) == ("SYSTem:REMote", "SYSTem:REMote? = 1")
    assert (closing["state"], closing["command"]) == ("given", "SYSTem:LOCal")
    assert rows["which is selected"]["query"] == "INSTrument:SELect?"
    assert rows["read voltage"]["query"] == rows["read current"]["query"] == "MEASure:ALL?"


def test_states_of_an_instrument_with_knobs(cli: Callable[..., Result]) -> None:
    rows = {
        row["operation"]: row
        for row in json.loads(cli("dialect", "check", "single-output", "--json").stdout)["operations"]
    }
    assert rows["ovp"]["state"] == "by hand"
    assert rows["opp"]["state"] == "impossible"
    assert rows["errors"]["state"] == "missing"
    rows = {
        row["operation"]: row
        for row in json.loads(cli("dialect", "check", "prefixed", "--json").stdout)["operations"]
    }
    assert rows["sense"]["state"] == "told"
    assert rows["sense"]["query"] == "INSTrument1:SOURce:VOLTage:ALC:SOURce?"


def test_the_schema_is_that_of_the_model(cli: Callable[..., Result]) -> None:
    schema = json.loads(cli("dialect", "schema").stdout)
    assert {"dialect", "addressing", "settings", "readings", "status"} <= set(schema["properties"])


def problems(cli: Callable[..., Result], text: str) -> list[str]:
    """What an editor that knows the schema underlines."""
    schema = json.loads(cli("dialect", "schema").stdout)
    data = json.loads(json.dumps(YAML(typ="safe", pure=True).load(text)))
    return [error.message for error in jsonschema.Draft202012Validator(schema).iter_errors(data)]


@pytest.mark.parametrize(
    "text", [*map(dialect_text, dialect_names()), DIALECT], ids=[*dialect_names(), "terse"]
)
def test_the_schema_takes_every_dialect(cli: Callable[..., Result], text: str) -> None:
    assert problems(cli, text) == []


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("compound: false", "compound: 3"),
        ("  voltage: VSET", "  volt: VSET"),
        ("  voltage: VSET", "  voltage: 5"),
        ("opening: [{send: REMote,", "opening: [5, {send: REMote,"),
        ("closing: [{send: LOCal,", "closing: [7, {send: LOCal,"),
        ("fields: [voltage, current]", "fields: [voltage, amperes]"),
        ("words: {OVP: OV,", "words: {OVER: OV,"),
        ("lowest: 0.01", "lowest: -1"),
    ],
)
def test_the_schema_refuses_what_the_reader_does(cli: Callable[..., Result], old: str, new: str) -> None:
    text = replaced(DIALECT, (old, new))
    assert problems(cli, text) != []
    with pytest.raises(DialectError):
        read_dialect(text, "mine.yaml")


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (["teach"], "WHAT: expected list, check, try or schema, got 'teach'"),
        (["check"], "FILE: expected the file of a dialect with 'check'"),
        (["list", "x.yaml"], "FILE: expected none with 'list'"),
        (["try", "channel-list"], "ADDRESS: expected that of an instrument with 'try'"),
        (["check", "channel-list", "TCPIP::127.0.0.1::1::SOCKET"], "ADDRESS: expected none with 'check'"),
        (
            ["check", "chanel-list"],
            "FILE: expected the file of a dialect, or the name of one, got 'chanel-list'",
        ),
    ],
)
def test_what_makes_no_sense_is_told_in_one_line(
    cli: Callable[..., Result], given: list[str], told: str
) -> None:
    result = cli("dialect", *given)
    assert result.exit_code == 2
    assert told in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1


def test_a_wrong_file_is_told_at_its_line(cli: Callable[..., Result], tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_text(dialect_text("prefixed").replace("digits: 3", "digits: many", 1), "utf-8")
    result = cli("dialect", "check", str(path))
    assert result.exit_code == 2
    before = path.read_text("utf-8").split("many")[0]
    line, column = before.count("\n") + 1, len(before) - before.rfind("\n")
    assert result.stderr.startswith(f"{path}:{line}:{column}: expected a whole number, got 'many'")


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--provoke", "closed"], "--provoke: expected open or shorted, got 'closed'; say what is connected"),
        (["--provoke", "open"], "--operator: expected who stands beside the instrument, got none"),
        (["--provoke", "open", "--operator", " "], "--operator: expected who stands beside the instrument"),
        (
            ["--provoke", "open", "--operator", "A", "--voltage", "3 A"],
            "--voltage: expected a voltage such as '12 V', got '3 A'",
        ),
        (
            ["--provoke", "open", "--operator", "A", "--voltage", "24 V"],
            "--voltage: expected more than 0 V and at most 12 V, got '24 V'; a low one is enough",
        ),
        (["--beside", "2"], "--beside: expected another output than 1, with --provoke open, got 2"),
        (
            ["--provoke", "open", "--operator", "A", "--beside", "1"],
            "--beside: expected another output than 1, with --provoke open, got 1",
        ),
        (
            ["--provoke", "shorted", "--operator", "A", "--beside", "2"],
            "--beside: expected another output than 1, with --provoke open, got 2",
        ),
        (
            ["--provoke", "shorted", "--operator", "A", "--current", "0 A"],
            "--current: expected more than 0 A and at most 1 A, got '0 A'; a low one is enough",
        ),
    ],
)
def test_what_cannot_be_provoked_is_told_before_anything_is_said(
    cli: Callable[..., Result], options: list[str], told: str
) -> None:
    result = cli("dialect", "try", "channel-list", "TCPIP::127.0.0.1::1::SOCKET", *options)
    assert result.exit_code == 2
    assert told in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1


def test_the_how_to_names_what_the_schema_requires() -> None:
    text = (Path(__file__).parents[2] / "docs" / "how-to.md").read_text("utf-8")
    (told,) = re.findall(r"(?s)^Compulsory are (.*?); whatever", text, re.MULTILINE)
    schema = Dialect.model_json_schema()
    parts = {name: schema["$defs"][model]["required"] for name, model in REQUIRED_PARTS.items()}
    required = [*schema["required"], *NEEDED, "on", "off", *(key for each in parts.values() for key in each)]
    assert sorted(re.findall(r"`(\w+)`", told)) == sorted(required)
