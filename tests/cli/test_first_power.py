"""`railwright first-power`: two documents that can be checked, and nothing overwritten."""

import json
import re

DEVICE, BENCH, PROCEDURE = "tide-gauge.device.yaml", "quay.bench.yaml", "power-input.procedure.yaml"
LEADS = "tide-gauge-first-power-1-leads.procedure.yaml"
RISE = "tide-gauge-first-power-2-rise.procedure.yaml"


def test_it_writes_two_procedures_that_may_be_energised(documents, cli):
    result = cli("first-power", DEVICE, BENCH, "--hook-up", PROCEDURE)
    assert result.exit_code == 0, result.output
    assert result.stdout.splitlines() == [LEADS, RISE, f"Now read them, then: railwright check {LEADS}"]
    for name in (LEADS, RISE):
        checked = cli("check", "--json", name)
        assert checked.exit_code == 0, checked.stdout
        assert not [f for f in json.loads(checked.stdout)["findings"] if f["severity"] == "stop"]


def test_without_a_procedure_a_hook_up_is_chosen_and_another_folder_refers_back(documents, cli):
    result = cli("first-power", DEVICE, BENCH, "--to", "new")
    assert result.exit_code == 0, result.output
    text = (documents / "new" / LEADS).read_text("utf-8")
    assert f"device: ../{DEVICE}" in text
    assert re.search(r"  main: \{from: (left|right)\.\d, lead: ", text)
    assert re.search(r"  transducer: \{from: (left|right)\.\d, lead: ", text)
    assert cli("check", "--static", f"new/{LEADS}").exit_code == 0


def test_what_is_there_is_not_overwritten(documents, cli):
    (documents / RISE).write_text("mine", "utf-8")
    result = cli("first-power", DEVICE, BENCH, "--hook-up", PROCEDURE)
    assert result.exit_code == 2
    assert RISE in result.stderr
    assert "name another with --to FOLDER" in result.stderr
    assert (documents / RISE).read_text("utf-8") == "mine"
    assert not (documents / LEADS).exists()


def test_a_procedure_of_another_device_is_refused(documents, cli):
    other = documents / "other.device.yaml"
    other.write_text(
        (documents / DEVICE).read_text("utf-8").replace("nominal: 12 V", "nominal: 13 V"), "utf-8"
    )
    result = cli("first-power", "other.device.yaml", BENCH, "--hook-up", PROCEDURE)
    assert result.exit_code == 2
    assert result.stderr.count("\n") == 1
    assert "expected a procedure of other.device.yaml" in result.stderr


def test_part_of_the_inputs_and_a_voltage_below_nominal(documents, cli):
    result = cli(
        "first-power", DEVICE, BENCH, "--hook-up", PROCEDURE, "--input", "main", "--up-to", "main=10 V"
    )
    assert result.exit_code == 0, result.output
    text = (documents / RISE).read_text("utf-8")
    assert "main at 10 V" in text
    assert "transducer at" not in text
    for given, words in (
        (("--up-to", "main"), "--up-to: expected an input and a voltage such as 'main=9V', got 'main'"),
        (("--up-to", "main=9"), "--up-to: expected a voltage such as"),
        (("--up-to", "main=20V"), "up to its nominal 12 V"),
        (("--input", "port"), "got 'port'"),
    ):
        refused = cli("first-power", DEVICE, BENCH, *given, "--to", "other")
        assert refused.exit_code == 2
        assert words in refused.stderr
        assert refused.stderr.count("\n") == 1
    assert not (documents / "other").exists()
