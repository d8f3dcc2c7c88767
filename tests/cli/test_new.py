"""`railwright new`: its three documents can be checked and rehearsed as they are, and with their options."""

import json
import re
from pathlib import Path

import pytest

from railwright.documents.loader import load_documents
from railwright.documents.output_name import OutputName
from railwright.examples import example

PROCEDURE = "mine/my.procedure.yaml"


@pytest.fixture
def mine(tmp_path, monkeypatch, cli):
    monkeypatch.chdir(tmp_path)
    assert cli("new", "mine").exit_code == 0
    return tmp_path / "mine"


def test_they_check_with_neither_stop_nor_caution(mine, cli):
    result = cli("check", "--json", PROCEDURE)
    assert result.exit_code == 0
    data = json.loads(result.stdout)
    assert data["rehearsed"]
    assert {finding["severity"] for finding in data["findings"]} == {"note"}
    assert not any("is not given" in f["why"] for f in data["findings"] if f["rule"] == "unknown-figure")


def test_they_rehearse_and_every_requirement_passes(mine, cli):
    result = cli("rehearse", "--json", PROCEDURE)
    assert result.exit_code == 0, result.stdout
    data = json.loads(result.stdout)
    assert data["inputs"]["main"]["tripped"] == ""
    assert data["inputs"]["main"]["starts"] == 2
    assert {each["outcome"] for each in data["evaluation"]["requirements"]} == {"pass"}


def test_ramps_are_programmed_and_a_recorder_is_there(mine):
    bench = load_documents(Path(PROCEDURE)).bench
    assert bench.output(OutputName("bench supply.1")).slew is not None
    assert list(bench.recorders) == ["oscilloscope"]


@pytest.mark.parametrize("option", ["resistor", "constant_current", "reverse"])
def test_what_is_commented_out_can_be_taken_as_it_stands(mine, cli, option):
    path = mine / "my.device.yaml"
    text, count = re.subn(rf"(?m)^( *)# (- \{{?{option}:)", r"\1\2", path.read_text("utf-8"))
    assert count == 1
    path.write_text(text, encoding="utf-8")
    assert cli("check", PROCEDURE).exit_code == 0


def test_the_example_is_written_whole_and_checks(tmp_path, monkeypatch, cli):
    monkeypatch.chdir(tmp_path)
    result = cli("new", "--example", "tide-gauge", "here")
    assert result.exit_code == 0
    assert result.stdout.splitlines()[-1] == "Now: railwright check here/power-input.procedure.yaml"
    assert {path.name: path.read_text("utf-8") for path in Path("here").iterdir()} == {
        path.name: path.read_text("utf-8") for path in example().iterdir()
    }
    assert cli("check", "--static", "here/power-input.procedure.yaml").exit_code == 0
    again = cli("new", "--example", "tide-gauge", "here")
    assert again.exit_code == 2
    assert "expected a folder without it" in again.stderr


def test_an_example_that_is_not_there_is_refused_with_those_that_are(tmp_path, monkeypatch, cli):
    monkeypatch.chdir(tmp_path)
    result = cli("new", "--example", "tide-guage", "here")
    assert result.exit_code == 2
    assert result.stderr == (
        "--example: expected one of the examples 'buffer-cell', 'tide-gauge', got 'tide-guage'; did you mean "
        "'tide-gauge'?\n"
    )
    assert not Path("here").exists()


@pytest.mark.parametrize(
    "arguments",
    [
        ("new", ""),
        ("first-power", "tide-gauge.device.yaml", "quay.bench.yaml", "--to", ""),
        ("run", "power-input.procedure.yaml", "--twins", "--unit", "1", "--operator", "me", "--folder", ""),
        ("demo", "--folder", ""),
    ],
    ids=lambda arguments: arguments[0],
)
def test_an_empty_name_is_not_the_present_folder(tmp_path, monkeypatch, cli, arguments):
    monkeypatch.chdir(tmp_path)
    cli("new", ".", "--example", "tide-gauge")
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    result = cli(*arguments)
    assert result.exit_code == 2
    assert "expected the name of a folder" in result.output
    assert {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()} == before
