"""new, twin, run, evaluate and report at their edges; the whole of them is in test_demo.py."""

import json
import os
import signal
import socket
import time
from pathlib import Path

import pytest
from tests.bench import BENCH, PROCEDURE

from railwright.quantities import parse_value
from railwright.records.manifest import verify_manifest


def test_new_writes_documents_that_pass_the_check_and_never_overwrites(documents, cli):
    first = cli("new", "mine")
    assert first.exit_code == 0
    paths = [line for line in first.stdout.splitlines() if line.endswith(".yaml")]
    procedure = next(path for path in paths if path.endswith("procedure.yaml") and " " not in path)
    assert cli("check", "--static", procedure).exit_code == 0
    before = {path: Path(path).read_text("utf-8") for path in paths if " " not in path}
    assert len(before) == 3
    again = cli("new", "mine")
    assert again.exit_code == 2
    assert len(again.stderr.splitlines()) == 1
    assert before == {path: Path(path).read_text("utf-8") for path in before}


def test_twin_listens_and_ends(documents, cli):
    result = cli("twin", BENCH, "--free-ports", "--seconds", "0.1", "--seed", "3")
    assert result.exit_code == 0, result.stderr
    assert "left: TCPIP::127.0.0.1::" in result.stdout
    assert "seed 3" in result.stdout


@pytest.mark.parametrize(
    "command",
    [
        ("run", PROCEDURE, "--unit", "S-1", "--operator", "A. Keeper", "--twins"),
        ("twin", BENCH, "--free-ports", "--seconds", "0.1"),
        ("demo",),
        ("prove", BENCH, "--operator", "A. Keeper", "--twins"),
        ("rehearse", PROCEDURE, "--cases", "2"),
    ],
    ids=lambda command: command[0],
)
def test_a_seed_is_no_less_than_0(documents, cli, command):
    """Everywhere alike, before anything starts."""
    before = set(documents.iterdir())
    result = cli(*command, "--seed", "-1")
    assert result.exit_code == 2
    assert "--seed" in result.stderr
    assert set(documents.iterdir()) == before


def test_twin_tells_what_its_seed_has_drawn_where_it_is_asked(documents, cli):
    plain = ("twin", BENCH, "--procedure", PROCEDURE, "--free-ports", "--seconds", "0.1", "--seed", "3")
    assert "main.capacitor.capacitance" not in cli(*plain).stdout
    told = cli(*plain, "--show-true", "--truth", "truth.json", "--true", "main.lead.resistance=x1.2")
    data = json.loads((documents / "truth.json").read_text("utf-8"))
    assert data["seed"] == 3
    capacitance = data["parameters"]["main.capacitor.capacitance"]
    bounds = [capacitance[key] for key in ("nominal", "low", "high")]
    assert bounds == pytest.approx([1e-3, 0.8e-3, 1.2e-3])
    assert capacitance["unit"] == "F"
    (row,) = (line.split() for line in told.stdout.splitlines() if "main.capacitor.capacitance" in line)
    assert parse_value(" ".join(row[1:3]), "F") == pytest.approx(capacitance["value"], rel=1e-3)
    assert data["parameters"]["main.lead.resistance"]["given"]
    assert "--true" in told.stdout
    assert -0.0005 <= data["errors"]["left.1.programming.voltage.gain"]["value"] <= 0.0005


SHORT = """
steps:
  - power_up: {order: [main, transducer], gap: 50 ms, rise: 2 V/ms, settle: 150 ms}
    name: first power
  - hold: 300 ms
    name: steady
  - power_down: {order: [transducer, main], gap: 20 ms}
record: {every: 20 ms}
requires:
  - {name: start-up time, measure: start_up_time, of: main, during: first power, at_most: 60 ms}
"""


@pytest.mark.alone
def test_a_run_on_twins_keeps_what_was_true_beside_its_record(documents, cli):
    text = (documents / PROCEDURE).read_text("utf-8")
    (documents / PROCEDURE).write_text(text[: text.index("\nsteps:")] + SHORT, encoding="utf-8")
    command = ("run", PROCEDURE, "--unit", "S-1", "--operator", "A. Keeper", "--twins", "--seed", "4")
    result = cli(*command, "--folder", "kept")
    assert result.exit_code == 0, result.stdout + result.stderr
    assert "kept/twins.json" in result.stdout
    data = json.loads((documents / "kept" / "twins.json").read_text("utf-8"))
    assert data["seed"] == 4
    assert "main.capacitor.capacitance" in data["parameters"]
    assert verify_manifest(documents / "kept").added == ()
    # Live lines: a mode comes with a reading of it, and a fall with the time of its reading.
    events = [line for line in result.stdout.splitlines() if " s  main: " in line]
    (steady,) = (line for line in events if "enters CV" in line)
    assert "enters CV: at 12 V" in steady or "enters CV: at 11.9" in steady or "enters CV: at 12.0" in steady
    (off,) = (float(line.split()[0]) for line in events if line.endswith("main: off"))
    (fell,) = (line for line in events if "main: fell" in line)
    stored = json.loads((documents / "kept" / "run.json").read_text("utf-8"))["switched_off"]["main"]
    assert float(fell.split()[0]) == pytest.approx(off + stored["fell_after"], abs=2e-3)


RECORDING = ("--recorder", "transient recorder", "--to", "a.csv")
HOOKED_UP = (*RECORDING, "--procedure", PROCEDURE)


@pytest.mark.parametrize(
    "options",
    [
        ("--recorder", "transient recorder"),
        ("--recorder", "nothing", "--to", "a.csv", "--procedure", PROCEDURE),
        RECORDING,
        (*HOOKED_UP, "--trigger", "main 3 V"),
        (*HOOKED_UP, "--trigger", "x voltage above 1 V"),
        (*HOOKED_UP, "--length", "3 V"),
        (*HOOKED_UP, "--probe", "x"),
        ("--probe", "main"),
        ("--trigger", "drive>1"),
        ("--length", "3 V"),
        ("--trigger", "main current above 50 mA"),
        ("--true", "main.capacitor.capacitance"),
        ("--true", "main.capacitor.capacitance=xx"),
        ("--mischief", "left: sulks at message 3"),
        ("--mischief", "middle: silent at message 3"),
    ],
)
def test_twin_options_that_cannot_be_are_one_line(documents, cli, options):
    result = cli("twin", BENCH, *options)
    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) == 1
    assert any(word in result.stderr for word in ("expected", "go together", "go with", "needs"))


def test_ctrl_c_ends_a_twin_that_a_script_started_in_the_background(documents, cli, monkeypatch):
    """There a shell has the command begin with the signal ignored."""
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)

    def serve(*_: object, **options: object) -> None:
        options["say"]("ready")
        os.kill(os.getpid(), signal.SIGINT)
        time.sleep(1.0)
        pytest.fail("it goes on")

    monkeypatch.setattr("railwright.twin.launcher.serve_bench", serve)
    try:
        result = cli("twin", BENCH, "--free-ports")
    finally:
        signal.signal(signal.SIGINT, before)
    assert result.exit_code == 3
    assert result.stdout == "ready\n"


@pytest.mark.parametrize(
    ("probes", "seen"),
    [((), ["transducer"]), (("--probe", "main", "--probe", "main"), ["transducer", "main"])],
)
def test_a_twin_s_recorder_sees_the_trigger_s_input_and_what_is_probed(
    documents, cli, monkeypatch, probes, seen
):
    """Nothing powers up here: what would be written is asked of the plant as if a capture was there."""
    columns = []

    def write(name, recorder, traces, trigger, path, *, inputs, seed, after):
        columns.append([trigger.input, *(each for each in inputs or () if each != trigger.input)])
        assert set(columns[-1]) <= set(traces)
        return True

    monkeypatch.setattr("railwright.twin.launcher.write_capture", write)
    trigger = ("--trigger", "transducer voltage above 1 V")
    result = cli("twin", BENCH, *HOOKED_UP, *trigger, *probes, "--free-ports", "--seconds", "0.6")
    assert result.exit_code == 0, result.stderr
    assert columns == [seen]
    assert "transient recorder: a.csv" in result.stdout


def test_faults_by_script_are_of_twins_only(documents, cli):
    command = ("run", PROCEDURE, "--unit", "S-1", "--operator", "A. Keeper", "--mischief", "left: silent")
    result = cli(*command)
    assert result.exit_code == 2
    assert "--mischief: expected --twins beside them" in result.stderr


def test_run_without_an_instrument_is_4_and_keeps_a_record(edit, documents, cli):
    with socket.create_server(("127.0.0.1", 0)) as taken, socket.create_server(("127.0.0.1", 0)) as other:
        port, second = taken.getsockname()[1], other.getsockname()[1]
    edit(BENCH, "::5025::", f"::{port}::")
    edit(BENCH, "::5026::", f"::{second}::")
    result = cli("run", PROCEDURE, "--unit", "S-1", "--operator", "A. Keeper", "--folder", "kept")
    assert result.exit_code == 4
    said = f"left: nothing listens at TCPIP::127.0.0.1::{port}::SOCKET"
    lines = result.stdout.splitlines()
    (cause,) = (line for line in lines if line.startswith("stopped: "))
    assert said in cause
    assert "right: nothing listens at TCPIP::127.0.0.1::" in cause
    assert lines[lines.index(cause) + 1].startswith(
        "→ simulated supplies: start 'railwright twin BENCH' first"
    )
    assert "check that they are on, their cables, and the addresses" in lines[lines.index(cause) + 1]
    assert lines[lines.index(cause) + 2] == "nothing was energised"
    assert "deviation" not in result.stdout
    assert "switching off" not in result.stdout
    assert (documents / "kept" / "log.ndjson").is_file()


def test_run_with_a_stop_is_3_and_opens_nothing(edit, documents, cli):
    edit(PROCEDURE, "ovp: 18 V", "ovp: 25 V")
    result = cli("run", PROCEDURE, "--unit", "S-1", "--operator", "A. Keeper", "--folder", "kept")
    assert result.exit_code == 3
    assert "nothing was energised" in result.stderr
    assert not (documents / "kept").exists()


def test_run_into_a_folder_in_use_is_2(documents, cli):
    result = cli("run", PROCEDURE, "--unit", "S-1", "--operator", "A. Keeper", "--folder", ".")
    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) == 1


@pytest.mark.parametrize("command", ["evaluate", "report"])
def test_a_folder_without_a_run_is_2(documents, cli, command):
    result = cli(command, ".")
    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) == 1
    assert "Traceback" not in result.stderr
