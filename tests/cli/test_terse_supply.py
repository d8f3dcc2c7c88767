"""A supply that shares nothing with ours, with the dialect that its manual asks for: tried, proved, run,
stopped by Ctrl-C and switched off without a run, in processes as a person starts them.
"""

from __future__ import annotations

import json
import math
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.bench import replaced
from tests.instruments.terse_supply import DIALECT, TerseSupply
from tests.running import stage
from tests.said import says

# A guard ends a run that gives it no sign of life for a second.
pytestmark = pytest.mark.alone

# Of a current of its own, of no power to speak of, with one trip delay.
OUTPUT = replaced(
    stage.OUTPUT,
    ("current: 0 A ..", "current: 0.01 A .."),
    (", power: 60 W", ""),
    ("38 V", "40 V"),
    ("1 ms .. 5 s", "100 ms .. 100 ms"),
    ("update: 10 ms", "update: 50 ms"),
)

BENCH = """\
bench: Quay bench
location: dry
ambient: 23 °C
supplies:
  quay:
    address: ADDRESS
    dialect: terse
    outputs: {1: OUTPUT, 2: {same_as: 1}}
leads:
  pair: {conductor: AWG 18, one_way_length: 1 m}
  thin: {conductor: AWG 20, one_way_length: 1 m}
"""

DEVICE = """\
device: Lamp and logger of the tide gauge
inputs:
  main: {nominal: 12 V, operating: 9 V .. 15 V, return: isolated, load: [{resistor: {resistance: 24 ohm}}]}
  lamp: {nominal: 6 V, operating: 5 V .. 8 V, return: isolated, load: [{resistor: {resistance: 24 ohm}}]}
"""

PROCEDURE = (
    stage.wired(
        "Two inputs",
        main=("quay.1", "pair", "current_limit: 1 A, at_limit: trip, trip_delay: 100 ms, ovp: 18 V"),
        lamp=("quay.2", "thin", "current_limit: 1 A, at_limit: trip, trip_delay: 100 ms, ovp: 10 V"),
    )
    + """\
steps:
  - power_up: {order: [main, lamp], gap: 50 ms, settle: 100 ms}
  - hold: 1.5 s
    name: steady
  - power_down: {order: [lamp, main], gap: 50 ms}
record: {every: 50 ms}
requires:
  - {name: drawn, of: main, during: steady, measure: mean_current, between: 0.45 A .. 0.55 A}
  - {name: lamp drawn, of: lamp, during: steady, measure: mean_current, between: 0.2 A .. 0.3 A}
"""
)
ACCEPTED = "overrides: [{finding: dialect-unproved, about: quay, because: it is a test}]\n"


class Station:
    """Documents in a folder, and the supply that they are of."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.supply = folder, TerseSupply()
        self.address = self.supply.listen()
        self.dialect = folder / "terse.dialect.yaml"
        self.dialect.write_text(DIALECT, "utf-8")
        bench = BENCH.replace("OUTPUT", OUTPUT).replace("ADDRESS", self.address)
        (folder / "quay.bench.yaml").write_text(bench, "utf-8")
        (folder / "piece.device.yaml").write_text(DEVICE, "utf-8")
        self.procedure(PROCEDURE)

    def procedure(self, text: str) -> None:
        (self.folder / "p.procedure.yaml").write_text(text, "utf-8")

    def start(self, *arguments: object) -> subprocess.Popen[str]:
        config = {"RAILWRIGHT_CONFIG_DIR": str(self.folder / "config")}
        return subprocess.Popen(
            [sys.executable, "-m", "railwright", *map(str, arguments)],
            cwd=self.folder,
            env={**os.environ, **config},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    def call(self, *arguments: object) -> tuple[int, str]:
        process = self.start(*arguments)
        out, err = process.communicate(timeout=120)
        return process.returncode, out + err

    def run(self) -> tuple[object, ...]:
        return "run", "p.procedure.yaml", "--unit", "S-1", "--operator", "O", "--folder", "run"

    def connected(self, resistance: float) -> None:
        for output in self.supply.outputs.values():
            output.resistance = resistance

    @property
    def messages(self) -> list[str]:
        return [text for _, text in self.supply.took]


@pytest.fixture
def station(tmp_path: Path) -> Iterator[Station]:
    made = Station(tmp_path)
    yield made
    assert not any(output.on for output in made.supply.outputs.values())
    assert not [text for text in made.messages if ";" in text]
    # Whoever spoke to it let go of it in order.
    assert made.messages[-1] == "LOCal"
    assert not made.supply.remote


def test_it_is_proved_and_then_runs_without_anything_accepted(station: Station) -> None:
    for channel in (1, 2):
        for resistance, how in ((math.inf, "open"), (0.5, "shorted")):
            station.connected(resistance)
            given = ("--channel", channel, "--operator", "O", "--provoke", how)
            code, told = station.call("dialect", "try", station.dialect, station.address, *given)
            assert code == 0, told
    station.connected(24.0)
    code, told = station.call(*station.run())
    assert code == 0, told
    assert "off confirmed" in told
    # 0: every requirement passed, by readings of volts and amperes in one answer.
    assert station.call("evaluate", "run")[0] == 0
    assert station.supply.errors == []
    log = (station.folder / "run" / "log.ndjson").read_text("utf-8")
    events = [json.loads(line) for line in log.splitlines()]
    entered = [each for each in events if each.get("what") == "enters CV"]
    assert len(entered) == 2


@pytest.mark.parametrize(("given", "lines"), [((), 1), (("--change",), 2)])
def test_a_quiet_try_has_no_tables(given: tuple[str, ...], lines: int, station: Station) -> None:
    """How it ended, and which changes show nothing; where something is wrong, a line for that."""
    station.connected(math.inf)
    code, told = station.call("dialect", "try", station.dialect, station.address, "-q", *given)
    assert (code, len(told.splitlines())) == (0, lines), told
    wrong = replaced(DIALECT, ('trip_delay: {query: "TDEL?"', 'trip_delay: {query: "TDELX?"'))
    station.dialect.write_text(wrong, "utf-8")
    code, told = station.call("dialect", "try", station.dialect, station.address, "-q", *given)
    first, *others = told.splitlines()
    assert (code, len(others)) == (4, lines), told
    assert says(first, "trip_delay", "TDELX?")


FOUND = {"VSET": 7.0, "ISET": 0.3, "OVSET": 20.0, "TRIPS": 1.0}


@pytest.mark.parametrize("how", [("--change",), ("--provoke", "open"), ("--provoke", "shorted")])
def test_a_try_leaves_settings_as_they_were_over_one_connection(
    how: tuple[str, ...], station: Station
) -> None:
    output = station.supply.outputs["RIGHT"]
    output.set |= FOUND
    station.connected(0.5 if "shorted" in how else math.inf)
    given = ("--channel", 2, "--operator", "O", *how)
    code, told = station.call("dialect", "try", station.dialect, station.address, *given)
    assert code == 0, told
    # Some take no second connection right after the first was closed.
    assert station.supply.connections == 1
    assert output.set == FOUND
    assert station.supply.highest <= 7.0


@pytest.mark.parametrize(
    ("low", "high", "code"), [(True, True, 0), (False, True, 0), (True, False, 0), (False, False, 4)]
)
def test_an_ovp_is_proved_from_below_where_its_level_may_not_lie_below_the_set_point(
    low: bool, high: bool, code: int, station: Station
) -> None:
    station.supply.low_ovp, station.supply.high_voltage = low, high
    station.connected(math.inf)
    given = ("--operator", "O", "--provoke", "open", "--json")
    came, told = station.call("dialect", "try", station.dialect, station.address, *given)
    assert came == code, told
    provoked = {each["provoked"]: each for each in json.loads(told)["provoked"]}
    assert provoked["OVP"]["wrong"] == "" if code == 0 else "-221" in provoked["OVP"]["wrong"]
    # Never above the voltage that whoever stands beside it agreed to: 3 V.
    assert station.supply.highest == 3.0


@pytest.mark.parametrize(
    ("resistance", "how", "by"), [(math.inf, "open", "OVP"), (0.5, "shorted", "current limit")]
)
def test_a_try_that_leaves_a_trip_latched_says_so_and_proves_nothing(
    resistance: float, how: str, by: str, station: Station
) -> None:
    station.supply.latches = True
    station.connected(resistance)
    code, told = station.call(
        "dialect", "try", station.dialect, station.address, "--operator", "O", "--provoke", how
    )
    assert code == 4, told
    assert says(told, by, "CLEAR", "actions.clear_trips")
    assert not list(station.folder.glob("config/proved/*"))


@pytest.mark.parametrize(("output", "word", "by"), [("LEFT", "OC", "current limit"), ("RIGHT", "OV", "OVP")])
def test_a_run_on_an_output_whose_trip_does_not_clear_ends_before_anything_is_on(
    output: str, word: str, by: str, station: Station
) -> None:
    station.supply.latches = True
    station.procedure(PROCEDURE + ACCEPTED)
    station.supply.outputs[output].tripped = word
    code, told = station.call(*station.run())
    assert code == 4, told
    assert says(told, by, "CLEAR", "actions.clear_trips")
    assert not [text for text in station.messages if text == "OUT 1"]


def test_a_trip_delay_that_nothing_sets_nor_tells_is_that_of_the_bench(station: Station) -> None:
    own = '  trip_delay: {query: "TDEL?", unit: s}\n'
    assert own in DIALECT
    station.dialect.write_text(DIALECT.replace(own, ""), "utf-8")
    station.procedure(PROCEDURE + ACCEPTED)
    code, told = station.call(*station.run())
    assert code == 0, told
    assert "TDEL?" not in station.messages
    asked = PROCEDURE.replace("trip_delay: 100 ms", "trip_delay: 40 ms")
    station.procedure(asked + ACCEPTED)
    before = len(station.messages)
    code, told = station.call("check", "p.procedure.yaml")
    assert code != 0
    assert "trip-delay-range" in told
    assert len(station.messages) == before


def test_ctrl_c_switches_it_off(station: Station) -> None:
    station.procedure(PROCEDURE.replace("1.5 s", "60 s") + ACCEPTED)
    process = station.start(*station.run())
    last = time.monotonic() + 60.0
    while not all(output.on for output in station.supply.outputs.values()) and time.monotonic() < last:
        time.sleep(0.02)
    time.sleep(0.3)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=30)
    assert process.returncode == 3, out + err
    assert "off confirmed" in out + err
    assert [each for each in station.messages if each.startswith("OUT ")][-1] == "OUT 0"


def test_what_switches_off_without_a_run_makes_it_remote_first(station: Station) -> None:
    for output in station.supply.outputs.values():
        output.on, output.set["VSET"], output.set["ISET"] = True, 12.0, 2.0
    code, told = station.call("off", "quay.bench.yaml")
    assert code == 0, told
    assert told.count("off confirmed") == 2
    assert station.messages.index("REMote") < len(station.messages) - 1


def test_probe_says_it_is_there_and_lets_it_go(station: Station) -> None:
    code, told = station.call("probe", station.address, "--dialect", station.dialect, "--channel", 2)
    assert code == 0, told
    assert "T-2" in told
    assert station.messages[:3] == ["REMote", "REMote?", "*IDN?"]
    others = {each for each in station.messages if not each.endswith("?")}
    assert others == {"REMote", "SELect RIGHT", "LOCal"}
