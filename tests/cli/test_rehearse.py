"""`railwright rehearse`: results, files, exit codes."""

import csv
import json

import pytest
from tests.bench import BENCH, PROCEDURE
from tests.said import says


def test_results_events_and_predicted_outcomes(documents, cli):
    result = cli("rehearse", PROCEDURE)
    assert result.exit_code == 0, result.stdout
    assert "enters CC" in result.stdout
    assert "Requirements, as predicted" in result.stdout


def test_json_has_si_numbers(documents, cli):
    data = json.loads(cli("rehearse", "--json", PROCEDURE).stdout)
    assert set(data) == {
        "procedure",
        "case",
        "inputs",
        "events",
        "steps",
        "shapes",
        "assumptions",
        "evaluation",
    }
    assert data["inputs"]["main"]["peak_voltage"] == pytest.approx(16, abs=0.1)
    assert data["inputs"]["main"]["tripped"] == ""
    assert [step["name"] for step in data["steps"]][:2] == ["first power", "steady"]


def test_cases_differ(documents, cli):
    charges = set()
    for case in ("low", "nominal", "high"):
        data = json.loads(cli("rehearse", "--case", case, "--json", PROCEDURE).stdout)
        assert data["case"] == case
        charges.add(data["inputs"]["main"]["inrush_charge"])
    assert len(charges) == 3


@pytest.mark.parametrize("given", ["lowest", "LOW", ""])
def test_a_case_that_there_is_not_is_one_line(documents, cli, given):
    result = cli("rehearse", "--case", given, PROCEDURE)
    assert result.exit_code == 2
    assert result.stderr == f"--case: expected one of nominal, low, high, got '{given}'\n"


def test_csv_and_plot_are_written(documents, cli):
    result = cli("rehearse", PROCEDURE, "--csv", "traces.csv", "--plot", "plot.png", "--step", "first power")
    assert result.exit_code == 0
    with open("traces.csv", encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0])[:4] == ["time_s", "main_voltage_V", "main_terminal_voltage_V", "main_current_A"]
    assert float(rows[-1]["time_s"]) > 10
    assert max(float(row["main_current_A"]) for row in rows) > 1.0
    assert (documents / "plot.png").read_bytes().startswith(b"\x89PNG")


def test_an_output_that_trips_is_3(edit, cli):
    edit(PROCEDURE, "trip_delay: 40 ms", "trip_delay: 4 ms")
    result = cli("rehearse", "--json", PROCEDURE)
    assert result.exit_code == 3
    assert json.loads(result.stdout)["inputs"]["main"]["tripped"] == "trips current limit"


def test_a_requirement_that_would_fail_is_1(edit, cli):
    edit(PROCEDURE, "at_most: 120 mC", "at_most: 20 mC")
    assert cli("rehearse", PROCEDURE).exit_code == 1


@pytest.mark.parametrize(
    ("options", "named"),
    [(("--plot", "plot.pdf"), "--plot"), (("--plot", "p.png", "--step", "lunch"), "--step")],
)
def test_options_that_cannot_be_are_2(documents, cli, options, named):
    result = cli("rehearse", PROCEDURE, *options)
    assert result.exit_code == 2
    assert named in result.stderr
    assert len(result.stderr.splitlines()) == 1


def test_a_limit_that_cannot_be_worked_out_stops_and_says_why(documents, edit, cli):
    edit("tide-gauge.device.yaml", "withstands: [{voltage: 36 V}]", "withstands: [{voltage: 24.1 V}]")
    edit("tide-gauge.device.yaml", "operating: 18 V .. 30 V", "operating: 18 V .. 24 V")
    result = cli("rehearse", PROCEDURE)
    assert result.exit_code == 3
    assert says(result.stderr, "ovp", "transducer", "at least", "at most", "24.1 V", "0.1 V")


def test_all_stops_are_told_at_once_and_not_only_those_that_hide_a_set_point(documents, edit, cli):
    edit("tide-gauge.device.yaml", "withstands: [{voltage: 36 V}]", "withstands: [{voltage: 24.1 V}]")
    edit("tide-gauge.device.yaml", "operating: 18 V .. 30 V", "operating: 18 V .. 24 V")
    edit(PROCEDURE, "ovp: 18 V", "ovp: 25 V")
    edit(PROCEDURE, "current_limit: 1 A", "current_limit: 4 A")
    result = cli("rehearse", PROCEDURE)
    assert result.exit_code == 3
    for said in (
        "no ovp of transducer is right",
        "the input withstands 20 V",
        "whose current limit ranges from 0 A to 2.5 A",
        "the device bears 2.5 A",
    ):
        assert said in result.stderr


def test_a_fuse_that_opens_is_seen(documents, edit, cli):
    fuse = "{fuse: {curve: [{current: 500 mA, time: 10 ms}, {current: 2 A, time: 1 ms}]}}"
    edit(BENCH, "\nrecorders:", f"\nfixtures:\n  guard: {fuse}\n\nrecorders:")
    edit(PROCEDURE, "lead: silicone pair,", "lead: silicone pair, fixture: guard,")
    result = cli("rehearse", PROCEDURE)
    assert "fuse opens" in " ".join(result.stdout.split())
    assert json.loads(cli("rehearse", "--json", PROCEDURE).stdout)["inputs"]["main"]["settled_voltage"] < 9.0


@pytest.mark.parametrize(("limit", "code"), [("0.25 A", 3), ("0.35 A", 3), ("0.45 A", 3), ("0.56 A", 0)])
def test_a_load_that_restarts_for_ever_is_not_done(limit, code, edit, documents, cli):
    """It does below P / (η V) = 3.6 W / (86 % · 8.4 V) = 0.50 A, where it starts (conservation of energy)."""
    edit(PROCEDURE, "current_limit: 1 A", f"current_limit: {limit}")
    edit(PROCEDURE, "at_limit: trip", "at_limit: regulate")
    edit(PROCEDURE, "    trip_delay: 40 ms\n", "")
    told = cli("rehearse", PROCEDURE)
    assert told.exit_code == code, told.output
    assert ("main would restart for ever in" in " ".join(told.stdout.split())) == (code == 3)
