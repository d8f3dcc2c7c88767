"""What `check` prints first fits one screen, with every stop and a line for each kind of caution."""

from __future__ import annotations

import json
import unicodedata

import pytest
from tests.bench import BENCH, DEVICE, PROCEDURE


def columns(line: str) -> int:
    """How wide a terminal shows a line: by Unicode's East Asian width (UAX 11); combining marks as none."""
    wide = {"W": 2, "F": 2}
    return sum(wide.get(unicodedata.east_asian_width(c), 1) for c in line if not unicodedata.combining(c))


def screen(text: str, width: int) -> int:
    """Lines that a terminal of this width shows of a text."""
    return sum(max(1, -(-columns(line) // width)) for line in text.splitlines())


def findings(cli, severity):
    """Those that need no rehearsal."""
    data = json.loads(cli("check", "--static", "--json", PROCEDURE).stdout)["findings"]
    return [each for each in data if each["severity"] == severity]


@pytest.fixture
def terminal(monkeypatch):
    """Say how many columns and lines there are."""

    def set_size(width: int, height: int) -> None:
        monkeypatch.setenv("COLUMNS", str(width))
        monkeypatch.setenv("LINES", str(height))

    return set_size


def three_inputs(edit) -> None:
    """A heater beside the two, on the left supply's other output."""
    heater = (
        "  heater:\n    nominal: 12 V\n    operating: 9 V .. 16 V\n    withstands: [{voltage: 20 V}]\n"
        "    current: {steady: 100 mA .. 300 mA, at_most: 1 A}\n    return: common\n"
        "    load:\n      - resistor: 60 ohm\n"
    )
    edit(DEVICE, "  transducer:\n", f"{heater}  transducer:\n")
    fed = "  heater: {from: left.2, lead: silicone pair, sense: at terminals}\n"
    edit(PROCEDURE, "  transducer: {from", f"{fed}  transducer: {{from")
    limits = "{current_limit: auto, at_limit: trip, trip_delay: auto, ovp: auto}"
    edit(PROCEDURE, "limits:\n", f"limits:\n  heater: {limits}\n")
    edit(PROCEDURE, "order: [main, transducer], gap", "order: [main, heater, transducer], gap")
    edit(PROCEDURE, "order: [transducer, main], gap", "order: [transducer, heater, main], gap")


@pytest.mark.parametrize(("width", "height"), [(80, 24), (100, 30), (120, 40)])
def test_three_inputs_fit_one_screen(documents, edit, cli, terminal, width, height):
    """With a line left for what is typed next; no line but a command is wider than the terminal."""
    three_inputs(edit)
    terminal(width, height)
    cautions = {each["rule"] for each in findings(cli, "caution")}
    shown = cli("check", PROCEDURE)
    assert shown.exit_code == 0
    assert screen(shown.stdout, width) <= height - 1
    lines = shown.stdout.splitlines()
    assert all(columns(line) <= width for line in lines if "railwright" not in line)
    assert "It may be energised." in " ".join(shown.stdout.split())
    for rule in cautions:
        assert len([line for line in lines if line.startswith(f"▲ caution  {rule}")]) == 1
    for name in ("main", "heater", "transducer"):
        assert any(line.startswith(name) for line in lines)
    assert f"railwright check {PROCEDURE} --all" in shown.stdout


def test_all_shows_the_rest(documents, cli, terminal):
    terminal(100, 24)
    shown, everything = cli("check", PROCEDURE).stdout, cli("check", "--all", PROCEDURE).stdout
    assert everything.startswith(shown.splitlines()[0])
    for title in ("Settings", "Windows", "Findings", "Can it be measured?", "Assumptions"):
        assert title not in shown.split()
        assert title.split()[0] in everything.split()
    for each in json.loads(cli("check", "--json", PROCEDURE).stdout)["findings"]:
        if each["rule"] != "assumed":
            assert each["rule"] in everything


@pytest.mark.parametrize("width", [80, 120])
def test_every_stop_shows_however_many_there_are(documents, edit, cli, terminal, width):
    """Eight levels that reverse an input, and a mistyped OVP: more than a screen, and each with its place."""
    terminal(width, 24)
    edit(PROCEDURE, "ovp: 18 V", "ovp: 25 V")
    levels = "".join(f"        - {{step_to: -{17 + n} V}}\n        - {{hold: 1 s}}\n" for n in range(8))
    edit(PROCEDURE, "        - {step_to: 12 V}\n", levels + "        - {step_to: 12 V}\n")
    shown = cli("check", PROCEDURE)
    assert shown.exit_code == 3
    stops = findings(cli, "stop")
    assert len(stops) >= 9
    text = "".join(shown.stdout.split())
    for each in stops:
        assert each["rule"] in text
        where = each["where"]
        assert f"{where['file']}:{where['line']}:{where['column']}" in text
    assert "It must not be energised like this." in " ".join(shown.stdout.split())


def test_findings_that_differ_in_figures_are_one_row_with_count_range_and_the_worst(documents, edit, cli):
    """By hand: the levels reverse the input by 17 V, 19 V and 18 V; 19 V is the worst."""
    levels = "".join(f"        - {{step_to: {v} V}}\n        - {{hold: 1 s}}\n" for v in (-17, -19, -18))
    edit(PROCEDURE, "        - {step_to: 12 V}\n", levels + "        - {step_to: 12 V}\n")
    table = cli("check", "--static", "--all", PROCEDURE).stdout.partition("Findings")[2]
    said = " ".join(table.split())
    assert said.count("reversed (") == 1
    assert "reversed (3, the worst): -19 V reverses the input" in said
    assert "all 3: level -19 V to -17 V" in said
    data = json.loads(cli("check", "--static", "--json", PROCEDURE).stdout)["findings"]
    assert len([each for each in data if each["rule"] == "reversed"]) == 3
    places = {each["where"]["line"] for each in data if each["rule"] == "reversed"}
    assert all(f"{PROCEDURE}:{line}:" in said for line in places)


def test_a_kind_of_caution_is_one_line_with_its_count(documents, edit, cli, terminal):
    """Two supplies without a date of calibration that is overdue: 'calibration-overdue' comes twice."""
    terminal(120, 40)
    edit(BENCH, "due: 2027-03-02", "due: 2026-03-03")
    edit(BENCH, "due: 2027-05-18", "due: 2026-05-19")
    lines = [line for line in cli("check", PROCEDURE).stdout.splitlines() if "calibration-overdue" in line]
    (line,) = lines
    assert "(2, the worst)" in line
    assert "2026-03-03" in line  # overdue for longer


@pytest.mark.parametrize("width", [60, 100])
@pytest.mark.parametrize("steers", ["\x1b", "\t", "\u202e", "\x9b"])
def test_what_steers_a_terminal_is_measured_as_it_is_printed(documents, edit, cli, terminal, steers, width):
    """A file's name has twelve of them, 2 to 6 columns each once printed: it stands in lines that are broken,
    and in those of further stops, which are cut.
    """
    terminal(width, 60)
    levels = "".join(f"        - {{step_to: {v} V}}\n        - {{hold: 1 s}}\n" for v in (-17, -19, -18))
    edit(PROCEDURE, "        - {step_to: 12 V}\n", levels + "        - {step_to: 12 V}\n")
    name = f"a{12 * steers}b.procedure.yaml"
    (documents / PROCEDURE).rename(documents / name)
    shown = cli("check", "--static", name)
    assert shown.exit_code == 3
    lines = shown.stdout.splitlines()
    assert len([line for line in lines if "so too" in line]) == 4  # voltage-range and reversed, two each
    assert all(columns(line) <= width for line in lines if "railwright" not in line)
    assert all(line.isprintable() for line in lines if "railwright" not in line)


def test_quiet_says_the_problems_and_the_verdict(documents, cli):
    shown = cli("check", "--static", "-q", PROCEDURE).stdout
    assert "touch-voltage" in shown
    assert f"{PROCEDURE}: 0 stops" in " ".join(shown.split())
    assert "Settings" not in shown
