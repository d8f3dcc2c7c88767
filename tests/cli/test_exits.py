"""Exit codes: what becomes a line, and what stays visible as a fault."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from railwright.cli import HELP
from railwright.cli.commands import COMMANDS
from railwright.cli.exits import BadInput, Exit, guarded
from railwright.cli.help import help_text
from railwright.dialects.dialect import DialectError
from railwright.documents.sources import DocumentErrors, Location, Problem
from railwright.instruments.errors import InstrumentError
from railwright.running.outcome import FolderRefused, RunRefused


def raising(error):
    def command():
        raise error

    return guarded(command)


@pytest.mark.parametrize(
    ("error", "code", "line"),
    [
        (BadInput("a line"), Exit.BAD_INPUT, "a line"),
        (DocumentErrors([Problem(Location("a.yaml", 3, 7), "expected x")]), Exit.BAD_INPUT, "a.yaml:3:7: "),
        (FileNotFoundError(2, "No such file", "a.csv"), Exit.BAD_INPUT, "a.csv: No such file"),
        (DialectError("mine.yaml:3: expected YAML"), Exit.BAD_INPUT, "mine.yaml:3: expected YAML"),
        (InstrumentError("left", "*IDN?", "gives no answer"), Exit.INSTRUMENT, "left: gives no answer"),
        (RunRefused("main: ovp-withstand: 18 V"), Exit.STOPPED, "main: ovp-withstand"),
        (FolderRefused("runs: expected a folder"), Exit.BAD_INPUT, "runs: expected"),
        (KeyboardInterrupt(), Exit.STOPPED, "stopped from the keyboard"),
    ],
)
def test_known_errors_are_a_line_and_a_code(capsys, error, code, line):
    with pytest.raises(SystemExit) as ended:
        raising(error)()
    assert ended.value.code == code
    err = capsys.readouterr().err
    assert err.startswith(line)
    assert len(err.splitlines()) == 1


def test_an_unknown_error_is_shown_whole_and_is_no_outcome(capsys):
    with pytest.raises(SystemExit) as ended:
        raising(RuntimeError("odd"))()
    assert ended.value.code == Exit.FAULT
    assert "Traceback" in capsys.readouterr().err


def test_help_explains_every_code_once_and_in_order(cli):
    shown = cli("check", "--help").stdout
    rows = re.findall(r"^ +(\d+) {2}(\w[^\n]*)$", shown[shown.index("Exit codes:") :], re.MULTILINE)
    assert [int(number) for number, _ in rows] == [0, 1, 2, 3, 4, 5, 6, 70]
    assert [int(code) for code in Exit] == [0, 1, 2, 3, 4, 5, 6, 70]
    assert len({meaning for _, meaning in rows}) == 8
    words = ["done", "failed", "input", "signal", "instrument", "inconclusive", "mains", "report"]
    assert [word in meaning for word, (_, meaning) in zip(words, rows, strict=True)] == [True] * 8


@pytest.mark.parametrize("arguments", ["--help", "check --static --json", "check --static"])
def test_a_reader_that_goes_away_is_no_error(arguments, documents):
    procedure = "" if "help" in arguments else "power-input.procedure.yaml"
    command = f"{sys.executable} -m railwright {arguments} {procedure} | true; exit ${{PIPESTATUS[0]}}"
    done = subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=False)
    assert done.returncode == 0
    assert done.stderr == ""


def cpu_seconds(*arguments):
    """Processor time of a whole process, the least of three: what a busy machine does not change much."""
    best = float("inf")
    for _ in range(3):
        before = os.times()
        subprocess.run([sys.executable, "-m", "railwright", *arguments], capture_output=True, check=True)
        after = os.times()
        used = after.children_user + after.children_system - before.children_user - before.children_system
        best = min(best, used)
    return best


def test_a_command_does_not_wait_for_the_modules_of_the_others():
    code = (
        "import atexit, sys; sys.argv = ['railwright', 'check', '--help']; from railwright.cli import main\n"
        "atexit.register(lambda: print(*sorted(n for n in sys.modules if n.startswith('railwright.cli.'))))\n"
        "main()"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "Usage: railwright check" in done.stdout
    loaded = {name.removeprefix("railwright.cli.") for name in done.stdout.splitlines()[-1].split()}
    assert "check" in loaded
    assert not loaded & {name.replace("-", "_") for name in COMMANDS if name != "check"}


def test_a_command_that_is_not_there_is_told_with_one_that_is_meant():
    command = [sys.executable, "-m", "railwright", "chekc"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "No such command 'chekc'. Did you mean 'check'?" in done.stderr


def test_help_names_every_command():
    assert [name for name in COMMANDS if f"\n  {name} " in HELP.read_text("utf-8")] == list(COMMANDS)


def test_the_readme_names_every_command():
    rows = (Path(__file__).parents[2] / "README.md").read_text("utf-8").splitlines()
    named = {row.split()[2].strip("`") for row in rows if row.startswith("| `railwright ")}
    assert named == set(COMMANDS)


def test_help_starts_quickly():
    assert cpu_seconds("--help") < 0.2


def test_help_is_what_typer_prints():
    assert help_text() == HELP.read_text("utf-8"), "make docs writes it again"


@pytest.mark.parametrize(
    ("unit", "operator", "option", "wanted"),
    [
        ("", "O", "--unit", "that is not blank"),
        ("S", " ", "--operator", "that is not blank"),
        ("S\n17", "O", "--unit", "in one line, without characters that steer a terminal"),
        ("S", "A\tkeeper", "--operator", "in one line, without characters that steer a terminal"),
        ("A\x1b[2J", "O", "--unit", "in one line, without characters that steer a terminal"),
    ],
)
def test_a_run_of_nothing_or_by_nobody_is_refused(documents, unit, operator, option, wanted):
    words = ("run", "power-input.procedure.yaml", "--unit", unit, "--operator", operator, "--twins")
    done = subprocess.run([sys.executable, "-m", "railwright", *words], capture_output=True, text=True)
    assert done.returncode == 2
    assert done.stderr.startswith(f"{option}: expected a text {wanted}, got ")
    assert done.stderr.rstrip("\n").isprintable()
