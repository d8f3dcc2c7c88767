"""`--quiet`, `--verbose` and `--version`: what they leave out and add, and no outcome depends on them."""

from __future__ import annotations

import io
import json
import re
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest
from tests.bench import BENCH, DEVICE, PROCEDURE
from tests.evaluation.stored_runs import store
from tests.running.small import PROCEDURE as WITHOUT_REQUIREMENTS
from tests.running.small import small
from typer.testing import Result

from railwright.cli.app import app
from railwright.cli.exits import Exit
from railwright.cli.live import live
from railwright.cli.run import report_outcome
from railwright.records.ended import Ended, SwitchedOff
from railwright.running.outcome import RunOutcome
from railwright.running.waiting import WAITS
from railwright.traces import Event, EventKind, Record, Span

Cli = Callable[..., Result]
Edit = Callable[[str, str, str], int]
HEADINGS = ("Settings", "Windows", "Events", "Assumptions", "Can it be measured?", "Rehearsal", "· note")
SHORT = f"""{WITHOUT_REQUIREMENTS}
requires:
  - {{name: supply level, measure: high_state_level, of: main, during: steady, between: 11.5 V .. 12.5 V}}
"""
SAID_WHEN_ASKED = re.compile(r"read: .+|written: .+|[a-z ,-]+: \d+\.\d\d s")


def test_every_command_but_off_can_be_quiet_and_all_that_read_documents_verbose(cli: Cli) -> None:
    """`off` says everything always: of an output in doubt nobody may have asked not to hear."""
    names = [
        command.name or command.callback.__name__.replace("_", "-") for command in app.registered_commands
    ]
    told = {name: cli(name, "--help").stdout for name in names}
    assert {name for name, text in told.items() if "-q, --quiet" in text} == {*names} - {"off"}
    reads = {
        name for name, text in told.items() if re.search(r"Usage: .*(PROCEDURE|DEVICE|BENCH|RUN)\b", text)
    }
    assert {"check", "evaluate", "first-power", "off"} < reads
    assert {name for name, text in told.items() if "-v, --verbose" in text} >= (reads | {"demo"}) - {"off"}


@pytest.mark.parametrize("command", ["check", "rehearse", "twin", "waveform", "sheet"])
def test_quiet_and_verbose_together_are_refused_in_a_line(documents: Path, cli: Cli, command: str) -> None:
    result = cli(command, BENCH if command == "twin" else PROCEDURE, "-q", "-v")
    assert result.exit_code == 2
    assert result.stderr == "--quiet: expected no --verbose beside it; leave one of them out\n"
    assert result.stdout == ""


def test_check_keeps_quiet_but_of_stops_and_cautions(edit: Edit, documents: Path, cli: Cli) -> None:
    usual, quiet = cli("check", "--static", PROCEDURE), cli("check", "--static", "-q", PROCEDURE)
    assert quiet.exit_code == usual.exit_code == 0
    marks = [line.split()[0] for line in quiet.stdout.splitlines() if line.startswith((" ▲", " ■", " ·"))]
    cautions = usual.stdout.count("▲ caution")
    assert cautions > 0
    assert marks == ["▲"] * cautions
    assert not any(heading in quiet.stdout for heading in HEADINGS)
    assert f"{PROCEDURE}: 0 stops, {cautions} cautions" in quiet.stdout
    edit(PROCEDURE, "ovp: 18 V", "ovp: 25 V")
    stopped = cli("check", "--static", "--quiet", PROCEDURE)
    assert stopped.exit_code == 3
    assert "■ stop" in stopped.stdout
    assert "It must not be energised like this." in " ".join(stopped.stdout.split())


def test_verbose_adds_what_was_read_and_how_long_it_took_on_standard_error(documents: Path, cli: Cli) -> None:
    usual, verbose = cli("check", PROCEDURE), cli("check", "--verbose", PROCEDURE)
    assert verbose.stdout == usual.stdout
    assert usual.stderr == ""
    lines = verbose.stderr.splitlines()
    assert all(SAID_WHEN_ASKED.fullmatch(line) for line in lines), lines
    assert f"read: {PROCEDURE}, {DEVICE}, {BENCH}" in lines
    assert [line.split(":")[0] for line in lines] == ["reading", "read", "hook-up, settings and rehearsal"]


def test_the_json_of_a_command_does_not_depend_on_them(documents: Path, cli: Cli) -> None:
    plain = cli("check", "--static", "--json", PROCEDURE).stdout
    assert json.loads(plain)["findings"]
    assert cli("check", "--static", "--json", "-q", PROCEDURE).stdout == plain
    assert cli("check", "--static", "--json", "-v", PROCEDURE).stdout == plain


def test_rehearse_says_in_a_line_that_all_will_pass(documents: Path, cli: Cli) -> None:
    result = cli("rehearse", "-q", PROCEDURE, "--csv", "traces.csv")
    told = "● pass as a whole, as predicted\nwritten: traces.csv\n"
    assert (result.exit_code, result.stdout) == (0, told)


def test_rehearse_says_what_trips_and_what_fails(edit: Edit, documents: Path, cli: Cli) -> None:
    edit(PROCEDURE, "trip_delay: 40 ms", "trip_delay: 4 ms")
    tripped = cli("rehearse", "-q", PROCEDURE)
    assert tripped.exit_code == 3
    first, *reasons, last = tripped.stdout.splitlines()
    assert re.fullmatch(r"main trips current limit at \d+(\.\d+)? ms", first)
    assert reasons
    assert not any(line.startswith("● pass") for line in reasons)
    assert last.endswith("as predicted; an output would trip")


def test_verbose_gives_the_reason_of_what_passes_too(documents: Path, cli: Cli) -> None:
    result = cli("rehearse", "-v", PROCEDURE)
    rows = result.stdout.partition("Requirements, as predicted")[2].partition("\n● pass  ")
    assert "as predicted" in result.stdout
    assert len([line for line in result.stdout.splitlines() if line.startswith("● pass  ")]) == rows[0].count(
        "● pass"
    )


def test_quiet_ensembles_and_faults_keep_trips_and_what_is_not_contained(documents: Path, cli: Cli) -> None:
    cases = " ".join(cli("rehearse", "--cases", "4", "-q", PROCEDURE).stdout.split())
    pattern = r"4 cases of .+; seed 1\. main: trips in 0 % .+ transducer: trips in 0 % .+ \(95 %\)"
    assert re.fullmatch(pattern, cases)
    usual = cli("rehearse", "--faults", PROCEDURE).stdout
    faults = cli("rehearse", "--faults", "-q", PROCEDURE).stdout
    assert "Not contained, or not known" in faults
    assert "Faults at" in usual
    assert "Faults at" not in faults
    assert faults.splitlines()[-1] == usual.splitlines()[-1]


def test_a_quiet_waveform_has_its_deviation_and_no_edges(edit: Edit, documents: Path, cli: Cli) -> None:
    edit(PROCEDURE, "{line_to: 6 V, over: 2 s}", "{line_to: 6 V, over: 100 ms}")
    assert "Edges of" in cli("waveform", PROCEDURE).stdout
    quiet = cli("waveform", "-q", PROCEDURE).stdout
    assert "Shapes, as played" in quiet
    assert "Edges of" not in quiet


def test_new_first_power_and_sheet_say_only_what_they_wrote(documents: Path, cli: Cli) -> None:
    for command in (("new", "mine"), ("first-power", DEVICE, BENCH), ("sheet", PROCEDURE, "--to", "a.svg")):
        lines = cli(*command, "-q").stdout.splitlines()
        assert lines
        assert all(Path(line).is_file() for line in lines), lines


def test_a_quiet_twin_says_where_it_listens(documents: Path, cli: Cli) -> None:
    given = ("twin", BENCH, "--free-ports", "--seconds", "0.1")
    assert "Assumptions" in cli(*given).stdout
    lines = cli(*given, "-q").stdout.splitlines()
    assert [line.split(":")[0] for line in lines] == ["left", "right", "seed 1; Ctrl-C ends"]


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, subprocess.CompletedProcess[str]]:
    """The folder of a quiet run, and what the run printed."""
    folder = tmp_path_factory.mktemp("quiet")
    with small(folder, SHORT) as bench:
        procedure = folder / "procedures" / "short.procedure.yaml"
        given = ["--unit", "S-1", "--operator", "A. Keeper", "--folder", folder / "kept", "-q"]
        command = [sys.executable, "-m", "railwright", "run", procedure, *given]
        done = subprocess.run(list(map(str, command)), capture_output=True, text=True, check=False)
        assert bench.ever_on
        assert bench.everything_off
    return folder / "kept", done


def test_a_quiet_run_says_how_it_ended_and_where_its_record_is(
    kept: tuple[Path, subprocess.CompletedProcess[str]],
) -> None:
    folder, done = kept
    assert done.returncode == 0, done.stdout + done.stderr
    table, ending, rest = done.stdout.partition("completed, off confirmed\n")
    assert ending
    assert "▲ caution" in table
    assert "· note" not in table
    assert "check:" not in table
    lines = [line for line in rest.splitlines() if not line.startswith("deviation: ")]
    assert lines == [f"run: {folder}"]


def test_quiet_and_verbose_evaluations_come_out_as_the_usual_one(tmp_path: Path, cli: Cli) -> None:
    folder = store(tmp_path / "stored")
    usual, quiet, verbose = (cli("evaluate", folder, *how) for how in ((), ("-q",), ("-v",)))
    assert usual.exit_code == quiet.exit_code == verbose.exit_code
    whole = usual.stdout.splitlines()[-1]
    assert "as a whole" in whole
    assert quiet.stdout.splitlines()[-1] == verbose.stdout.splitlines()[-1] == whole
    assert "Requirements" not in quiet.stdout
    assert "Uncertainty budgets" not in usual.stdout
    budgets = verbose.stdout.partition("Uncertainty budgets")[2]
    stored = json.loads((folder / "evaluations" / "03.json").read_text("utf-8"))
    sources = [
        each["source"] for result in stored["requirements"] for each in result["measured"]["contributions"]
    ]
    assert sources
    squeezed = " ".join(budgets.split())
    assert all(source in squeezed for source in sources)
    assert [line.split(":")[0] for line in verbose.stderr.splitlines()] == ["reading", "read", "evaluation"]


def test_a_verbose_report_lists_its_files(
    kept: tuple[Path, subprocess.CompletedProcess[str]], cli: Cli
) -> None:
    folder, _ = kept
    result = cli("report", folder, "-v")
    assert result.stdout == f"{folder / 'report' / 'report.pdf'}\n"
    (line,) = (line for line in result.stderr.splitlines() if line.startswith("written: "))
    files = [Path(name) for name in line.removeprefix("written: ").split(", ")]
    assert {path.suffix for path in files} >= {".pdf", ".json", ".xml"}
    assert all(path.is_file() for path in files)


def test_quiet_a_run_still_says_that_it_waits_for_somebody() -> None:
    text = io.StringIO()
    lines = live(text, traced=False, quiet=True)
    lines.preparing("identify left")
    lines.begins((Span("steady", "hold", 0.0, 1.0, ("main",)),), 1.0)
    lines.step_started(Span("steady", "hold", 0.0, 1.0, ("main",)), 0)
    lines.event(Event(0.5, "main", EventKind.ENTERS_CC, text="at 1 A"))
    lines.event(Event(0.6, "run", WAITS["key"], text="press Enter, within 60 s"))
    lines.switching_off("main, then aux")
    assert text.getvalue() == "    0.600 s  run: waits for a key: press Enter, within 60 s\n"


def test_quiet_says_of_outputs_only_what_is_not_simply_off(capsys: pytest.CaptureFixture[str]) -> None:
    went = {
        "main": SwitchedOff("main", True, 1.0, 0.012, 0.0, confirmed=True),
        "gate": SwitchedOff("gate", False, 1.0, None, 5.0, stays_on="the drain is not confirmed off"),
        "aux": SwitchedOff("aux", False, 1.0, None, 11.9),
    }
    record = Record("supply readings", {}, (), ())
    lines = ("aux: right.1, since 12.3 s, 11.9 V: use the mains switch",)
    doubt = RunOutcome(
        Path("run-1"), "id", Ended.COMPLETED, "", True, record, went, (), ("late by 3 ms",), 0.0, 0,
        off_confirmed=False, not_confirmed=lines,
    )  # fmt: skip
    report_outcome(doubt, quiet=True)
    out = capsys.readouterr().out.splitlines()
    assert out[0].startswith("PLAYED TO ITS END, OFF NOT CONFIRMED")
    assert out[1] == lines[0]
    assert [line.split(":")[0] for line in out[2:]] == ["gate", "aux", "deviation", "run"]


def railwright(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "railwright", *arguments]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def test_the_version_is_that_of_the_project(cli: Cli) -> None:
    project = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text("utf-8"))["project"]
    expected = f"railwright {project['version']}\n"
    quick = railwright("--version")
    assert (quick.returncode, quick.stdout, quick.stderr) == (Exit.DONE, expected, "")
    by_typer = cli("--version")
    assert (by_typer.exit_code, by_typer.stdout) == (Exit.DONE, expected)
    # Also in front of a command, which is not carried out then.
    assert cli("--version", "check", "no-such.procedure.yaml").stdout == expected
