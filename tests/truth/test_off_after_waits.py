"""How long an input waits for another that has to be confirmed off before it, by its `off_after`.

The truth is worked out here: C falls through R from V to 1 V in R·C·ln(V / 1 V), with the output's own
150 µF and 2 kΩ beside the load (closed form), and is then read there for 0.25 s.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from tests.said import figures
from tests.truth.saying import played
from tests.truth.small import fed_by, supply, write

from railwright.archive.stored import open_stored
from railwright.job import Job
from railwright.traces import EventKind

OWN_FARADS, OWN_OHMS, READ_FOR = 150e-6, 2000.0, 0.25


def procedure(folder: Path, volts: float, farads: float, ohms: float, gap: float) -> Path:
    drain = fed_by(
        *([{"capacitor": {"capacitance": f"{farads} F"}}] if farads else []),
        {"resistor": {"resistance": f"{ohms} ohm"}},
        nominal=f"{volts} V",
    )
    gate = fed_by({"resistor": {"resistance": "200 ohm"}}, nominal="5 V")
    settle = f"{0.4 + 40 * farads} s"  # 12 V at 2 A
    limits = {"current_limit": "2 A", "at_limit": "regulate", "ovp": "36 V"}
    return write(
        folder,
        {"drain": drain, "gate": gate},
        {
            "hook_up": {
                name: {"from": f"s.{number}", "lead": "pair", "sense": "at terminals"}
                for number, name in enumerate(("drain", "gate"), 1)
            },
            "limits": {"drain": limits, "gate": {**limits, "off_after": ["drain"]}},
            "steps": [
                {"power_up": {"order": ["gate", "drain"], "gap": "50 ms", "settle": settle}, "name": "up"},
                {"power_down": {"order": ["drain", "gate"], "gap": f"{gap} s"}, "name": "down"},
                {"hold": "100 ms", "name": "after"},
            ],
            "record": {"every": "10 ms"},
        },
        {"s": supply({"sink": None}, {"sink": None})},
    )


@pytest.mark.parametrize(
    ("volts", "farads", "ohms", "gap"),
    [
        (12.0, 1e-3, 600.0, 0.02),
        (24.0, 2e-4, 3000.0, 0.1),
        (20.0, 4.7e-4, 1000.0, 1.0),
        (12.0, 1e-6, 50.0, 0.02),
    ],
)
def test_the_check_says_how_long_the_run_will_wait(
    volts: float, farads: float, ohms: float, gap: float, tmp_path: Path
) -> None:
    together = 1.0 / (1.0 / ohms + 1.0 / OWN_OHMS)
    threshold = max(1.0, 0.05 * volts)
    truth = (farads + OWN_FARADS) * together * math.log(volts / threshold) + READ_FOR - gap
    path = procedure(tmp_path / "s", volts, farads, ohms, gap)
    (found,) = [f for f in Job.open(path).check(static=True).findings if f.rule == "off-after-waits"]
    assert (found.about, found.severity) == ("gate", "caution")
    waits = figures(found.why)[-1]
    assert seconds(waits) == pytest.approx(truth, rel=0.01, abs=2e-3)
    with played(path, 1) as (_, folder):
        record = open_stored(folder).data.record
    went = {e.subject: e.time for e in record.events if e.kind is EventKind.OFF}
    # Confirmed with the next reading.
    assert went["gate"] - went["drain"] - gap == pytest.approx(truth, rel=0.02, abs=0.035)


@pytest.mark.parametrize(
    ("volts", "farads", "ohms", "gap"), [(12.0, 1e-3, 600.0, 2.0), (24.0, 2e-4, 3000.0, 2.0)]
)
def test_where_there_is_time_enough_nothing_is_said(
    volts: float, farads: float, ohms: float, gap: float, tmp_path: Path
) -> None:
    """The first takes 0.53 s · 2.5, the second 0.42 s · 3."""
    path = procedure(tmp_path / "s", volts, farads, ohms, gap)
    assert [f for f in Job.open(path).check(static=True).findings if f.rule == "off-after-waits"] == []


@pytest.mark.parametrize(
    ("farads", "gap", "ends"), [(0.1, 0.02, True), (0.1, 12.0, True), (0.02, 12.0, True), (0.02, 14.0, False)]
)
def test_what_is_not_off_in_time_ends_the_run(farads: float, gap: float, ends: bool, tmp_path: Path) -> None:
    """A run waits 10 s from when the gate is due: 12 V fall in 115 s, and in 23.1 s."""
    path = procedure(tmp_path / "s", 12.0, farads, 600.0, gap)
    falls = (farads + OWN_FARADS) / (1.0 / 600.0 + 1.0 / OWN_OHMS) * math.log(12.0)
    (found,) = [f for f in Job.open(path).check(static=True).findings if f.rule == "off-after-waits"]
    assert seconds(figures(found.why)[-1]) == pytest.approx(min(10.0, falls + READ_FOR - gap), rel=0.01)
    assert 1.0 <= seconds(figures(found.remedy)[0]) / (falls + READ_FOR) < 1.1
    with played(path, 1) as (_, folder):
        record = open_stored(folder).data.record
    assert ("after" in {span.name for span in record.spans}) == (not ends)
    assert ("gate" in {e.subject for e in record.events if e.kind is EventKind.OFF}) == (not ends)


@pytest.mark.parametrize("gap", [0.02, 0.3, 12.0])
def test_an_unknown_time_may_end_the_run(gap: float, tmp_path: Path) -> None:
    """Without a figure for the bleeder nobody knows how long."""
    path = procedure(tmp_path / "s", 12.0, 1e-3, 600.0, gap)
    edited(path, lambda whole: whole["bench"]["supplies"]["s"]["outputs"]["1"].pop("bleeder"))
    (found,) = [f for f in Job.open(path).check(static=True).findings if f.rule == "off-after-waits"]
    assert figures(found.why)[-1] == "10 s"
    assert figures(found.remedy) == []


@pytest.mark.parametrize("gap", [0.02, 0.1])
@pytest.mark.parametrize(
    ("load", "fixture"),
    [
        ({"battery": {"series_resistance": "0.5 ohm", "capacity": "2 Ah", "open_circuit_voltage": "9 V",
                      "state_of_charge": "50 %"}}, None),
        ({"capacitor": {"capacitance": "1 mF"}}, {"diode": {"drop": "0.5 V", "resistance": "20 mohm"}}),
    ],
)  # fmt: skip
def test_no_time_to_fall_is_told_where_what_is_read_does_not_fall(
    load: dict[str, Any], fixture: dict[str, Any] | None, gap: float, tmp_path: Path
) -> None:
    """A battery holds the voltage; before a diode the output's own side is read."""
    path = procedure(tmp_path / "s", 12.0, 0.0, 600.0, gap)

    def changes(whole: dict[str, Any]) -> None:
        whole["device"]["inputs"]["drain"]["load"].append(load)
        if fixture is not None:
            whole["bench"]["fixtures"] = {"box": fixture}
            whole["procedure"]["hook_up"]["drain"]["fixture"] = "box"

    edited(path, changes)
    (found,) = [f for f in Job.open(path).check(static=True).findings if f.rule == "off-after-waits"]
    told = [seconds(each) for each in figures(found.why)]
    assert told == pytest.approx([gap, READ_FOR, READ_FOR - gap])


@pytest.mark.parametrize(("volts", "ohms"), [(12.0, 50.0), (48.0, 10e3), (60.0, 2e3)])
def test_outputs_in_series_onto_a_resistor_alone(volts: float, ohms: float, tmp_path: Path) -> None:
    """Their own capacitors alone hold it up: 75 µF beside 4 kΩ and the load."""
    path = procedure(tmp_path / "s", volts, 0.0, ohms, 0.02)
    edited(path, in_series)
    truth = OWN_FARADS / 2 / (1.0 / ohms + 0.5 / OWN_OHMS) * math.log(volts / max(1.0, 0.05 * volts))
    found = Job.open(path).check(static=True).findings
    (waits,) = [figures(each.why)[-1] for each in found if each.rule == "off-after-waits"]
    assert seconds(waits) == pytest.approx(truth + READ_FOR - 0.02, rel=0.01)


def in_series(whole: dict[str, Any]) -> None:
    """Feed the drain from two outputs in series, the gate from a third."""
    whole["bench"]["supplies"] = {"s": supply(*[{"sink": None}] * 3)}
    whole["device"]["inputs"]["drain"] |= {"operating": "1 V .. 70 V", "withstands": [{"voltage": "90 V"}]}
    whole["procedure"]["hook_up"]["drain"]["from"] = {"series": ["s.1", "s.2"]}
    whole["procedure"]["hook_up"]["gate"]["from"] = "s.3"


def edited(path: Path, change: Callable[[dict[str, Any]], None]) -> None:
    """Change the documents of a job: bench, device and procedure."""
    documents = {name: path.with_name(f"small.{name}.yaml") for name in ("bench", "device", "procedure")}
    whole = {name: json.loads(each.read_text("utf-8")) for name, each in documents.items()}
    change(whole)
    for name, each in documents.items():
        each.write_text(json.dumps(whole[name]), "utf-8")


def seconds(text: str) -> float:
    """A printed time [s]."""
    number, unit = text.split()
    return float(number) * {"s": 1.0, "ms": 1e-3}[unit]
