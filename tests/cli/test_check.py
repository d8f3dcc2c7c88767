"""`railwright check`: findings, settings, exit codes, one line for bad input."""

import json

from tests.bench import BENCH, DEVICE, PROCEDURE
from tests.said import says


def test_the_example_may_be_energised(documents, cli):
    result = cli("check", "--static", "--all", PROCEDURE)
    assert result.exit_code == 0
    assert "Settings" in result.stdout
    assert "touch-voltage" in result.stdout
    assert "0 stops" in result.stdout


def test_a_channel_is_a_setting_where_it_is_not_the_output_s_name(edit, documents, cli):
    assert "channel" not in cli("check", "--static", "--all", PROCEDURE).stdout.split("Windows")[0]
    edit(BENCH, "        voltage: 0 V .. 36 V\n", "        channel: 3\n        voltage: 0 V .. 36 V\n")
    told = " ".join(cli("check", "--static", "--all", PROCEDURE).stdout.split("Windows")[0].split())
    assert "left.1 channel 3 left knows output 1 by this number; it feeds main" in told
    (reason,) = [
        each
        for each in json.loads(cli("check", "--static", "--json", PROCEDURE).stdout)["reasons"]
        if each["setting"] == "channel"
    ]
    assert (reason["about"], reason["value"], reason["where"]["line"]) == ("left.1", "3", 19)


def test_rules_that_need_a_rehearsal_are_left_out_with_static(documents, cli):
    static = json.loads(cli("check", "--static", "--json", PROCEDURE).stdout)
    whole = json.loads(cli("check", "--json", PROCEDURE).stdout)
    assert not static["rehearsed"]
    assert whole["rehearsed"]
    assert len(whole["findings"]) > len(static["findings"])


def test_it_names_the_command_for_what_it_does_not_rehearse(edit, documents, cli):
    said = f"railwright rehearse {PROCEDURE} --faults"
    assert cli("check", "--static", PROCEDURE).stdout.splitlines()[-1].endswith(said)
    edit(PROCEDURE, "current_limit: 1 A", "current_limit: auto")
    edit(DEVICE, ", at_most: 2.5 A", "")
    refused = cli("check", "--static", PROCEDURE)
    assert refused.exit_code == 3
    assert "--faults" not in refused.stdout


def test_one_input_without_set_points_leaves_the_rest_checked(edit, documents, cli):
    edit(PROCEDURE, "current_limit: 1 A", "current_limit: auto")
    edit(DEVICE, ", at_most: 2.5 A", "")
    result = cli("check", "--json", PROCEDURE)
    assert result.exit_code == 3
    data = json.loads(result.stdout)
    assert data["rehearsed"]
    assert set(data["set_points"]) == {"transducer"}
    assert [f["about"] for f in data["findings"] if f["rule"] == "not-rehearsed"] == ["main"]


def test_json_has_si_numbers_and_stable_keys(documents, cli):
    data = json.loads(cli("check", "--static", "--json", PROCEDURE).stdout)
    assert set(data) == {
        "procedure",
        "rehearsed",
        "blocked",
        "set_points",
        "reasons",
        "windows",
        "findings",
        "rises",
        "measurable",
    }
    assert data["set_points"]["main"]["outputs"][0]["trip_delay"] == 0.04
    assert set(data["findings"][0]) == {
        "rule", "severity", "about", "where", "why", "remedy", "overridden", "figures", "blocks",
    }  # fmt: skip


def test_a_stop_gives_3_and_names_the_line(edit, cli):
    line = edit(PROCEDURE, "ovp: 18 V", "ovp: 25 V")
    result = cli("check", "--static", "--json", PROCEDURE)
    assert result.exit_code == 3
    stops = [f for f in json.loads(result.stdout)["findings"] if f["blocks"]]
    assert [(f["where"]["file"], f["where"]["line"]) for f in stops] == [(PROCEDURE, line)]


def test_an_override_lets_it_pass_with_its_reason(edit, cli, documents):
    edit(PROCEDURE, "ovp: 18 V", "ovp: 25 V")
    rule = next(
        f["rule"]
        for f in json.loads(cli("check", "--static", "--json", PROCEDURE).stdout)["findings"]
        if f["blocks"]
    )
    with (documents / PROCEDURE).open("a", encoding="utf-8") as file:
        file.write(
            f"\noverrides:\n  - {{finding: {rule}, because: the clamp at the input is tested apart}}\n"
        )
    result = cli("check", "--static", PROCEDURE)
    assert result.exit_code == 0
    assert "the clamp at the input is tested apart" in " ".join(result.stdout.split())


def test_bad_input_is_one_line_each_and_2(edit, cli):
    first = edit(PROCEDURE, "trip_delay: 40 ms", "trip_delay: 40 mV")
    second = edit(DEVICE, "nominal: 12 V", "nominal: 12")
    third = edit(BENCH, "location: wet", "locaton: wet")
    result = cli("check", PROCEDURE)
    assert result.exit_code == 2
    assert result.stdout == ""
    for name, line in ((PROCEDURE, first), (DEVICE, second), (BENCH, third)):
        assert f"{name}:{line}:" in result.stderr
    assert "Traceback" not in result.stderr
    assert "location" in result.stderr


def test_a_missing_file_is_2(documents, cli):
    result = cli("check", "nowhere.yaml")
    assert result.exit_code == 2
    assert result.stderr.startswith("nowhere.yaml:")
    assert len(result.stderr.splitlines()) == 1


FIXTURE = """
fixtures:
  guard:
    fuse: {curve: [{current: 200 mA, time: 10 ms}, {current: 1 A, time: 1 ms}], resistance: 60 mohm}
    diode: {drop: 700 mV, at: 1 A, resistance: 100 mohm}

recorders:"""


def test_a_fuse_that_opens_in_the_rehearsal_stops(documents, edit, cli):
    edit(BENCH, "\nrecorders:", FIXTURE)
    edit(PROCEDURE, "lead: silicone pair,", "lead: silicone pair, fixture: guard,")
    result = cli("check", "--json", PROCEDURE)
    assert result.exit_code == 3
    data = json.loads(result.stdout)
    assert data["set_points"]["main"]["fixture"] == "guard"
    assert {"fuse-below-need", "fuse-rehearsed"} <= {f["rule"] for f in data["findings"] if f["blocks"]}
    assert "fuse-before-trip" in {f["rule"] for f in data["findings"]}


def test_own_protection_levels_stand_among_the_settings(documents, edit, cli):
    edit(PROCEDURE, "    trip_delay: 40 ms\n", "    trip_delay: 40 ms\n    opp: 30 W\n")
    result = cli("check", "--static", PROCEDURE)
    assert result.exit_code == 3
    said = " ".join(result.stdout.split())
    assert says(said, "left.1", "over-power protection")
    edit(BENCH, "        power: 60 W\n", "        power: 60 W\n        opp: {level: 1 W .. 66 W}\n")
    result = cli("check", "--static", "--json", PROCEDURE)
    assert result.exit_code == 0
    reasons = {(r["about"], r["setting"]): r["value"] for r in json.loads(result.stdout)["reasons"]}
    assert reasons["main", "opp"] == 30.0


def test_coupled_outputs_that_take_an_input_beyond_what_it_withstands_stop(documents, edit, cli):
    coupled = "    coupled: [{outputs: [1, 2], by: step}]\n"
    edit(BENCH, "    dialect: channel-list\n", f"    dialect: channel-list\n{coupled}")
    edit(PROCEDURE, "{from: right.1,", "{from: left.2,")
    result = cli("check", "--static", "--json", PROCEDURE)
    assert result.exit_code == 3
    assert "coupled-withstand" in {f["rule"] for f in json.loads(result.stdout)["findings"] if f["blocks"]}


def test_what_the_readings_can_decide_is_told_with_what_would_do(documents, cli):
    result = cli("check", "--all", PROCEDURE)
    table = result.stdout.partition("Can it be measured?")[2].partition("Assumptions")[0]
    assert table.count("● yes") == 8
    assert table.count("◌ no") == 1
    assert "12 000 samples/s" in " ".join(table.split())
    data = json.loads(cli("check", "--json", PROCEDURE).stdout)["measurable"]
    assert [each["requirement"] for each in data if each["verdict"] == "no"] == ["transducer inrush"]
    assert {each["unit"] for each in data} == {"s", "C", "A", "V", "W", "1"}
