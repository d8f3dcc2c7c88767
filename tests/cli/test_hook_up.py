"""`hook_up: auto` through the commands: shown by check, stopped where nothing fits, kept with a run."""

import json

from tests.bench import BENCH, DEVICE, PROCEDURE
from tests.said import says

MAIN = "  main:       {from: left.1, lead: silicone pair, sense: at load}\n"
TRANSDUCER = "  transducer: {from: right.1, lead: thin pair, sense: at terminals}\n"
BY_HAND = f"hook_up:\n{MAIN}{TRANSDUCER}"


def test_check_shows_what_was_chosen_and_why(edit, documents, cli):
    edit(PROCEDURE, BY_HAND, "hook_up: auto\n")
    shown = cli("check", "--static", "--all", PROCEDURE)
    assert shown.exit_code == 0
    assert "Fed by, and why" in shown.stdout
    assert "next best" in " ".join(shown.stdout.split())
    data = json.loads(cli("check", "--static", "--json", PROCEDURE).stdout)
    values = {r["about"]: r["value"] for r in data["reasons"] if r["setting"] == "hook_up"}
    assert values["main"] == "left.1 through silicone pair, sensed at load"
    assert data["set_points"]["transducer"]["outputs"][0]["output"] == "right.1"


def test_a_check_with_a_rehearsal_goes_on_with_it(edit, documents, cli):
    edit(PROCEDURE, BY_HAND, "hook_up: auto\n")
    data = json.loads(cli("check", "--json", PROCEDURE).stdout)
    assert data["rehearsed"]
    assert set(data["set_points"]) == {"main", "transducer"}


def test_first_power_takes_over_what_was_chosen(edit, documents, cli):
    edit(PROCEDURE, BY_HAND, "hook_up: auto\n")
    assert cli("first-power", DEVICE, BENCH, "--hook-up", PROCEDURE).exit_code == 0
    text = next(documents.glob("*first-power-1*")).read_text("utf-8")
    assert "{from: left.1, lead: silicone pair, sense: at load}" in text
    assert "{from: right.1, lead: thin pair, sense: at terminals}" in text


def test_where_nothing_fits_it_stops_and_says_what_would(edit, documents, cli):
    edit(PROCEDURE, BY_HAND, "hook_up: auto\n")
    edit(DEVICE, "nominal: 24 V\n    operating: 18 V .. 30 V", "nominal: 48 V\n    operating: 40 V .. 50 V")
    edit(DEVICE, "withstands: [{voltage: 36 V}]", "withstands: [{voltage: 80 V}]")
    edit(BENCH, "        may_join: [series, parallel]\n", "")
    result = cli("check", "--json", PROCEDURE)
    assert result.exit_code == 3
    data = json.loads(result.stdout)
    (finding,) = [f for f in data["findings"] if f["rule"] == "hook-up-impossible"]
    assert finding["about"] == "transducer"
    assert "may_join" in finding["remedy"]
    assert data["rehearsed"], "the other input is rehearsed all the same"
    assert set(data["set_points"]) == {"main"}
    for command in (
        ("rehearse", PROCEDURE),
        ("sheet", PROCEDURE),
        ("twin", BENCH, "--procedure", PROCEDURE),
        ("first-power", DEVICE, BENCH, "--hook-up", PROCEDURE),
    ):
        stopped = cli(*command)
        assert stopped.exit_code == 3
        assert says(stopped.stderr, "no hook-up", "transducer", "48 V", "36 V", "32 V")
