"""Where the current limit is what an input is fed with, nothing says that it is too low.

The truth is worked out here, by Ohm's law, by a string's forward voltage at its rated current, and by the
charge of a cell.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import pytest
from tests.truth.saying import case_documents
from tests.truth.table import TruthTable, Within

from railwright.documents.sources import DocumentErrors
from railwright.job import Check, Job

BENCH = """bench: Trial bench
location: dry
ambient: 23 °C ± 3 °C
supplies:
  trio:
    address: TCPIP::127.0.0.1::6131::SOCKET
    dialect: selected-output
    isolation: 250 V
    outputs:
      1:
        voltage: 0 V .. 24 V
        current: 0 A .. 2 A
        power: %s
        programming:
          voltage: {of_value: 0.05 %%, offset: 5 mV, resolution: 1 mV}
          current: {of_value: 0.1 %%, offset: 3 mA, resolution: 0.5 mA}
        reading:
          voltage: {of_value: 0.05 %%, offset: 5 mV, resolution: 1 mV, noise: 1 mV}
          current: {of_value: 0.1 %%, offset: 3 mA, resolution: 0.5 mA, noise: 0.2 mA}
          update: 20 ms
          aperture: 16 ms
          latency: 3 ms
        rise: 10 ms
        fall: {loaded: 20 ms, unloaded: 400 ms}
        slew: 0.5 V/s .. 2 V/ms
        limit_response: 1 ms
        output_capacitance: 220 uF
        bleeder: 2 kohm
        ovp: {level: 1 V .. 26 V, accuracy: 100 mV, response: 200 us, at: terminals}
        opp: {level: 1 W .. 48 W, response: 5 ms}
        ocp: {level: 0 A .. 2.1 A, delay: 0 s .. 10 s}
        trip_delay: 10 ms .. 10 s
        sense: {compensates: 1 V, open: falls back, lead_resistance: 100 mohm}
        points: {at_most: 100, dwell: 10 ms .. 600 s, between: [step, line]}
        may_join: [series, parallel]
leads:
  short pair:
    {conductor: AWG 16, one_way_length: 0.5 m, contact_resistance_loop: 6 mohm, permitted_current: 10 A}
"""
DEVICE = """device: Fed
inputs:
  fed:
    nominal: {set} V
    operating: {operating}
    withstands: [{{voltage: 26 V}}]
    current: {{at_most: 1.95 A}}
    return: isolated
    load: [{load}]
"""
PROCEDURE = """procedure: feed a current
device: fed.device.yaml
bench: trial.bench.yaml
hook_up: {{fed: {{from: {feed}, lead: short pair, sense: at load}}}}
limits: {{fed: {{current_limit: {current} A, at_limit: regulate{meant}, ovp: 25.5 V}}}}
steps:
  - power_up: {{order: [fed], settle: 300 ms}}
    name: start
  - hold: 2 s
    name: fed
  - power_down: {{order: [fed]}}
record: {{every: 20 ms}}
requires:
  - {{name: current, measure: mean_current, of: fed, during: fed, between: {low} A .. {high} A}}
  - {{name: voltage, measure: mean_voltage, of: fed, during: fed, between: {least} V .. {most} V}}
  - {{name: start, measure: start_up_time, of: fed, during: start, at_most: 250 ms}}
"""
FED = "{low}, {high}"


@dataclass(frozen=True)
class Fed:
    """A load fed with a current [A] while a higher voltage is set [V], and the voltage that it then has."""

    load: str
    current: float
    set: float
    has: float
    operating: str


LEDS = "led_string: {count: %d, forward_voltage: %s V, rated_current: %s, series_resistance: 0 ohm}"
CASES = {
    # A string at its rated current has count times its forward voltage.
    "three LEDs": Fed(LEDS % (3, "3.1", "350 mA"), 0.35, 12.0, 9.3, "9 V .. 14 V"),
    "six LEDs at much more voltage": Fed(LEDS % (6, "2.9", "700 mA"), 0.7, 22.0, 17.4, "16 V .. 25 V"),
    # U = R·I: 12 V would be 2.4 A and 28.8 W.
    "a coil's resistance": Fed("resistor: {resistance: 5 ohm}", 1.2, 12.0, 6.0, "5 V .. 14 V"),
    # U = R·I again; nothing of it comes near the operating range.
    "far below what it needs to operate": Fed("resistor: {resistance: 2 ohm}", 0.5, 10.0, 1.0, "8 V .. 14 V"),
}
SAID_OTHERWISE = {"limit-below-need", "empty-window", "power-range"}


def written(
    folder: Path, case: Fed, meant: bool = True, power: str = "48 W", feed: str = "trio.1", **given: float
) -> Job:
    most = ", charge_at_most: 7 C" if "battery" in case.load else ""
    (folder / "trial.bench.yaml").write_text(BENCH % power, "utf-8")
    (folder / "fed.device.yaml").write_text(
        DEVICE.format(set=case.set, operating=case.operating, load=case.load), "utf-8"
    )
    limits = {
        "low": 0.98 * case.current - 0.005,
        "high": 1.02 * case.current + 0.005,
        "least": 0.97 * case.has,
        "most": 1.03 * case.has,
    } | given
    text = PROCEDURE.format(
        current=case.current, feed=feed, meant=f", purpose: current{most}" if meant else "", **limits
    )
    (folder / "feed.procedure.yaml").write_text(text, "utf-8")
    return Job.open(folder / "feed.procedure.yaml")


@pytest.mark.case("current-is-the-purpose")
@pytest.mark.parametrize("name", CASES)
def test_feeding_a_current_is_no_stop(name: str, tmp_path: Path, truth_table: TruthTable) -> None:
    case = CASES[name]
    check = written(tmp_path, case).check()
    truth_table.compare("stops", "none", stops_of(check))
    assert not {"not-settled", "limit-headroom", "ramp-in-limit"} & {f.rule for f in check.findings}
    windows = {window.setting: window for window in check.settings.windows}
    limit = windows["current_limit"]
    assert limit.low is not None
    assert limit.high is not None
    assert limit.low.value == 0.0
    # The device bears 1.95 A, less the error of the limit: 1.95 - (0.1 % + 3 mA) on a grid of 0.5 mA. Until
    # the limit has responded it is half of 2 A less: at 1.94 A a rehearsal draws up to 2.52 A for a moment.
    (bears,) = [end for end in limit.ends if end.key == "device"]
    assert bears.value == pytest.approx(1.945, abs=1e-3)
    assert limit.high.value == pytest.approx(0.946, abs=1e-3)
    # The outputs give what the load takes at that current, and the drop of the lead with it.
    source_power = windows["opp"].low
    assert source_power is not None
    assert source_power.value == pytest.approx(case.has * case.current, rel=0.05, abs=0.1) or (
        source_power.value == 1.0
    )
    rehearsed = check.rehearse().evaluation
    predicted = {each.requirement: each.measured for each in rehearsed.results}
    assert {each.requirement: each.outcome.value for each in rehearsed.results} == dict.fromkeys(
        ("current", "voltage", "start"), "pass"
    )
    run = check.run(unit="T-1", operator="O", folder=tmp_path / "run", twins=True)
    read = run.evaluate()
    for quantity, truth, unit in (("current", case.current, "A"), ("voltage", case.has, "V")):
        said = {"rehearsed": predicted[quantity].value, "read": read[quantity].measured.value}
        truth_table.compare(quantity, pytest.approx(truth, rel=0.02, abs=0.005), said, unit)
        assert read[quantity].outcome == "pass"
    assert read["start"].outcome != "fail"
    assert run.report().exists()


def stops_of(check: Check) -> str:
    return ", ".join(sorted({f.rule for f in check.findings if f.blocks})) or "none"


@pytest.mark.parametrize("name", list(CASES)[:3])
def test_who_does_not_say_so_is_told(name: str, tmp_path: Path) -> None:
    stops = {f.rule for f in written(tmp_path, CASES[name], meant=False).check().findings if f.blocks}
    assert "limit-below-need" in stops


def test_a_power_that_the_output_does_not_give_is_still_a_stop(tmp_path: Path) -> None:
    """5 Ω at 1.2 A are 7.2 W at the connector, whatever the lead adds; 12 V · 2.4 A would be 28.8 W."""
    case = CASES["a coil's resistance"]
    for power, stops in (("7 W", True), ("8 W", False)):
        folder = tmp_path / power.replace(" ", "")
        folder.mkdir()
        rules = {f.rule for f in written(folder, case, power=power).check().findings if f.blocks}
        assert ("power-range" in rules) is stops


def test_hook_up_finds_an_output_for_the_current(tmp_path: Path) -> None:
    """As a resistor on 22 V it would ask for 4.4 A, more than the bench has."""
    case = Fed("resistor: {resistance: 5 ohm}", 1.2, 22.0, 6.0, "5 V .. 25 V")
    assert not written(tmp_path, case, feed="auto").check().blocked


@pytest.mark.case("current-is-the-purpose")
def test_a_cell_is_charged_by_its_charge(tmp_path: Path, truth_table: TruthTable) -> None:
    """From 30 % of 7.2 C at 0.4 A: the set 4.1 V are reached at an open-circuit voltage of 4.1 - 0.4 · 0.2 =
    4.02 V, which the curve has at 90 %; 60 % of 7.2 C are 4.32 C, 10.8 s at 0.4 A.
    """
    load = (
        "battery: {series_resistance: 0.2 ohm, capacity: 0.002 Ah, state_of_charge: 30 %, curve: ["
        "{charge: 0 %, voltage: 3.0 V}, {charge: 50 %, voltage: 3.7 V}, {charge: 100 %, voltage: 4.1 V}]}"
    )
    job = written(tmp_path, Fed(load, 0.4, 4.1, 3.9, "2.8 V .. 4.2 V")).edit("steps.1.hold", "20 s")
    check = job.check()
    assert not check.blocked
    result = check.rehearse()["fed"].result
    assert result is not None
    truth_table.compare("time in the limit", pytest.approx(10.8, rel=0.02), result.time_in_limit, "s")


@pytest.mark.case("current-is-the-purpose")
@pytest.mark.parametrize(("name", "charge"), [("led", Within(0.693, 0.707)), ("chg", Within(4.28, 5.04))])
def test_as_it_was_found(name: str, charge: Within, tmp_path: Path, truth_table: TruthTable) -> None:
    """Said to work in the limit, nothing stops, and no override is needed; 2 s at 350 mA are 0.7 C.

    A cell from 30 % on takes 4.32 C in the limit, of which 0.04 C in the step before, and no more than the
    70 % of 7.2 C that are left.
    """
    path = case_documents("current-is-the-purpose", tmp_path) / f"{name}.procedure.yaml"
    most = ", charge_at_most: 6 C" if name == "chg" else ""
    text = path.read_text("utf-8").replace(
        "at_limit: regulate", f"at_limit: regulate, purpose: current{most}"
    )
    text = re.sub(r"  - \{finding: (limit-below-need|empty-window).*\n", "", text)
    path.write_text(text, "utf-8")
    check = Job.open(path).check()
    truth_table.compare("stops", "none", stops_of(check))
    measured = check.rehearse().evaluation.results[0].measured
    assert measured is not None
    truth_table.compare("charge", charge, measured.value, "C")


@pytest.mark.parametrize(
    ("old", "new"), [("at_limit: regulate", "at_limit: trip, trip_delay: 20 ms"), ("1.2 A", "auto")]
)
def test_what_cannot_feed_a_current_is_bad_input(old: str, new: str, tmp_path: Path) -> None:
    written(tmp_path, CASES["a coil's resistance"])
    path = tmp_path / "feed.procedure.yaml"
    path.write_text(path.read_text("utf-8").replace(old, new, 1), "utf-8")
    with pytest.raises(DocumentErrors, match="purpose"):
        Job.open(path)
