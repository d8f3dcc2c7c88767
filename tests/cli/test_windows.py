"""Windows on the command line: what `check` shows of them, and the case behind an end played again."""

import json

import pytest
from tests.bench import PROCEDURE
from tests.said import says


def windows(cli, *options):
    """(input, setting) -> window."""
    data = json.loads(cli("check", "--json", *options, PROCEDURE).stdout)["windows"]
    return {(each["about"], each["setting"]): each for each in data}


def test_both_ends_with_what_decides_them(documents, cli):
    said = cli("check", "--all", PROCEDURE)
    assert said.exit_code == 0
    text = " ".join(said.stdout.split())
    assert "Windows" in text
    assert "16.17 V 19.9 V 18 V ≥ rehearsed, corner" in text
    assert says(text, "withstands", "20 V", "0.1 V")
    assert f"railwright rehearse {PROCEDURE} --corner K" in text


def test_json_has_each_end_with_its_line_and_each_output(documents, cli):
    found = windows(cli, "--static")
    assert {setting for _, setting in found} == {"current_limit", "ovp", "trip_delay", "rise"}
    ovp = found["transducer", "ovp"]
    assert (ovp["unit"], ovp["step"], ovp["step_given"]) == ("V", 0.01, False)
    assert ovp["asked"] is None
    assert ovp["recommended"] == 30.0
    assert ovp["high"]["value"] == 35.0
    assert ovp["high"]["demand"] == "range"
    assert ovp["high"]["where"]["file"].endswith("quay.bench.yaml")
    assert ovp["low"]["closed_form"]
    assert ovp["low"]["replay"] is None
    assert ovp["outputs"]["right.1"]["recommended"] == 30.0
    assert found["main", "current_limit"]["step_given"]


@pytest.mark.parametrize(
    ("setting", "written", "unit", "cause"),
    [("trip_delay", "trip_delay: 40 ms", "s", "current limit"), ("ovp", "ovp: 18 V", "V", "OVP")],
)
def test_the_case_behind_an_end_trips_one_step_below_it(documents, edit, cli, setting, written, unit, cause):
    window = windows(cli)["main", setting]
    corner = window["low"]["replay"].removeprefix("--corner ")
    value = window["low"]["value"]
    edit(PROCEDURE, f"    {written}", f"    {setting}: {value - window['step']:.6g} {unit}")
    played = cli("rehearse", "--json", "--corner", corner, PROCEDURE)
    assert played.exit_code == 3
    data = json.loads(played.stdout)
    assert data["case"] == f"corner {corner}"
    assert data["inputs"]["main"]["tripped"] == f"trips {cause}"
    edit(
        PROCEDURE, f"    {setting}: {value - window['step']:.6g} {unit}", f"    {setting}: {value:.6g} {unit}"
    )
    again = json.loads(cli("rehearse", "--json", "--corner", corner, PROCEDURE).stdout)
    assert again["inputs"]["main"]["tripped"] == ""


def test_cases_of_the_ensemble_settle_the_windows_too(documents, cli):
    corners, more = windows(cli), windows(cli, "--cases", "20", "--seed", "3")
    for key, window in corners.items():
        assert more[key]["low"]["value"] >= window["low"]["value"]
    assert cli("check", "--static", "--cases", "20", PROCEDURE).exit_code == 2


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--corner", "all"), "--corner: expected a number such as 0x1f, got 'all'"),
        (("--corner", "0xfffffffff"), "--corner: expected a corner of 23 quantities, from 0 to 0x7fffff"),
        (("--corner", "3", "--cases", "9"), "--corner: expected no --case, --cases or --faults beside it"),
    ],
)
def test_a_corner_that_cannot_be_is_2(documents, cli, options, said):
    result = cli("rehearse", *options, PROCEDURE)
    assert result.exit_code == 2
    assert said in result.stderr
