"""`railwright rehearse --faults`: the table, JSON, exit codes."""

import json

import pytest
from tests.bench import BENCH, DEVICE, PROCEDURE
from tests.said import says

WIDTH = 100


def test_the_table_is_readable_at_100_characters(documents, cli, monkeypatch):
    monkeypatch.setenv("COLUMNS", str(WIDTH))
    result = cli("rehearse", "--faults", PROCEDURE)
    assert result.exit_code == 1
    assert max(map(len, result.stdout.splitlines())) <= WIDTH
    for said in (
        "Faults at main",
        "Faults at transducer",
        "short at the load",
        "current limit, 40 ms",
        "then right.1",
        "✕ no",
        "take a plug that fits one",
        "16 faults rehearsed, one at a time: 13 contained, 3 not, 0 unknown.",
    ):
        assert said in result.stdout


def test_json_holds_every_figure(documents, cli):
    result = cli("rehearse", "--faults", "--json", PROCEDURE)
    data = json.loads(result.stdout)
    assert result.exit_code == 1
    assert set(data) == {"procedure", "case", "faults", "assumptions", "says_little_because"}
    short = next(each for each in data["faults"] if each["fault"] == "short")
    assert short["input"] == "main"
    assert short["contained"] == "yes"
    assert short["trips"][0]["time"] == pytest.approx(0.04, abs=1e-3)
    assert short["lead"]["borne"] == "yes"
    assert {each["borne"] for each in short["stresses"]} == {"yes"}
    reverse = next(each for each in data["faults"] if each["fault"] == "reversed")
    assert reverse["contained"] == "no"
    assert any(each["time"] is None for each in reverse["stresses"])  # for as long as it lasts


def test_what_is_not_known_is_5(documents, edit, cli):
    edit(DEVICE, "withstands: [{voltage: 36 V}]", "withstands: [{voltage: 36 V}, {reverse: 36 V}]")
    edit(DEVICE, "  - {voltage_of: transducer, minus: main, outside: -17 V .. 25 V}\n", "")
    edit(DEVICE, "never:\n", "")
    assert cli("rehearse", "--faults", PROCEDURE).exit_code == 0
    edit(BENCH, "8 mohm, permitted_current: 8 A", "8 mohm")
    comment = "                       # or: regulate (IVI-4.4)"
    edit(PROCEDURE, f"at_limit: trip{comment}", "at_limit: regulate")
    edit(PROCEDURE, "    trip_delay: 40 ms\n", "")
    result = cli("rehearse", "--faults", PROCEDURE)
    assert result.exit_code == 5
    assert "◌ unknown" in result.stdout


def test_a_power_up_that_trips_is_3_and_says_so(documents, edit, cli):
    edit(PROCEDURE, "trip_delay: 40 ms", "trip_delay: 4 ms")
    result = cli("rehearse", "--faults", "--json", PROCEDURE)
    assert result.exit_code == 3
    assert says(result.stderr, "left.1", "current limit")


@pytest.mark.parametrize(
    "other", [("--cases", "8"), ("--plot", "p.png"), ("--csv", "t.csv"), ("--step", "x")]
)
def test_what_does_not_go_with_faults_is_2(documents, cli, other):
    result = cli("rehearse", "--faults", PROCEDURE, *other)
    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) == 1


def test_the_case_is_named(documents, cli):
    data = json.loads(cli("rehearse", "--faults", "--case", "high", "--json", PROCEDURE).stdout)
    assert data["case"] == "high"
