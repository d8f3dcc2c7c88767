"""Inputs that do not simply go off: a cell that holds its voltage, a ramp to 0 V, one that stays on."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from tests.running.stage import BENCH, OUTPUT, Stage, points, wired
from tests.said import figures, says

from railwright.records.ended import Ended

CELL = """\
device: Buoy lantern with its cell
inputs:
  cell:
    nominal: 4.2 V
    operating: 3 V .. 4.2 V
    withstands: [{voltage: 4.5 V}]
    return: isolated
    load:
      - battery: {series_resistance: 500 mohm, capacity: 8000 C, state_of_charge: 50 %,
                  curve: [{charge: 0 %, voltage: 3.5 V}, {charge: 100 %, voltage: 3.9 V}]}
"""

CHARGED = (
    wired("Charge the cell", cell=("left.1", "pair", "current_limit: 1 A, at_limit: regulate, ovp: 5 V"))
    + """\
steps:
  - power_up: {order: [cell], gap: 50 ms, settle: 100 ms}
  - hold: 500 ms
    name: steady
record: {every: 20 ms}
"""
)

ON_CELL = {"cell": points("cell", "left.1", 1.0, 5.0)}

STATION = """\
device: Tide-gauge electronics with a fan
inputs:
  main:
    nominal: 12 V
    operating: 9 V .. 15 V
    return: isolated
    load: [{resistor: {resistance: 24 ohm}}]
  fan:
    nominal: 12 V
    operating: 6 V .. 14 V
    return: isolated
    load: [{resistor: {resistance: 120 ohm}}]
"""

COOLED = (
    wired(
        "With a fan",
        main=("left.1", "pair", "current_limit: 1 A, at_limit: trip, trip_delay: 20 ms, ovp: 20 VGATE"),
        fan=("right.1", "pair", "current_limit: 500 mA, at_limit: trip, trip_delay: 20 ms, ovp: 16 VDRAIN"),
    )
    + """\
steps:
  - power_up: {order: [fan, main], gap: 50 ms, settle: 100 ms}
  - hold: 500 ms
    name: steady
record: {every: 20 ms}
"""
)

ON_STATION = {"main": points("main", "left.1", 1.0, 20.0), "fan": points("fan", "right.1", 0.5, 16.0)}


def test_a_cell_ends_off_confirmed_and_holds_its_voltage(tmp_path: Path) -> None:
    stage = Stage(tmp_path, CELL, CHARGED)
    outcome = stage.run(ON_CELL)
    # It stood at the terminals before, which the device's document explains.
    assert (outcome.ended, outcome.off_confirmed) == (Ended.COMPLETED, True), outcome.cause
    assert any(says(caution, "cell", "held by the device") for caution in outcome.cautions)
    end = outcome.switched_off["cell"]
    assert end.confirmed
    assert end.holds == pytest.approx(3.7, abs=0.02)
    (event,) = [each for each in outcome.record.events if each.what == "off confirmed"]
    assert figures(event.detail)[0].startswith("3.69")
    assert not stage.is_on("left.1")


@pytest.mark.parametrize("how", ["stopped", "reset"])
def test_a_cell_holds_its_voltage_however_it_ends(tmp_path: Path, how: str) -> None:
    stage = Stage(tmp_path, CELL, CHARGED, ["left: reset at 0.6 s"] if how == "reset" else [])
    if how == "stopped":
        stage.at_step["steady"] = lambda: stage.stop.request("asked")
    outcome = stage.run(ON_CELL)
    assert outcome.ended is (Ended.INTERRUPTED if how == "stopped" else Ended.INSTRUMENT)
    assert outcome.off_confirmed, outcome.not_confirmed
    assert outcome.switched_off["cell"].holds == pytest.approx(3.7, abs=0.02)


def test_a_voltage_that_the_cell_does_not_explain_is_refused(tmp_path: Path) -> None:
    stage = Stage(tmp_path, CELL.replace("3.5 V}", "5.8 V}").replace("3.9 V}", "6.2 V}"), CHARGED)
    # The document says less than what is there.
    (tmp_path / "piece.device.yaml").write_text(CELL, "utf-8")
    from railwright.documents.loader import load_documents

    stage.documents = load_documents(tmp_path / "short.procedure.yaml")
    outcome = stage.run(ON_CELL)
    assert outcome.ended is Ended.STOPPED
    assert outcome.cause.startswith("cell: 5.9")
    assert says(outcome.cause, "document")
    assert stage.spans("left.1") == ()
    assert not outcome.energised


@pytest.mark.parametrize("how", ["completed", "stopped"])
def test_a_ramp_to_zero_and_then_off(tmp_path: Path, how: str) -> None:
    stage = Stage(tmp_path, STATION, COOLED, gate=", at_end: {ramp_down: 400 ms}")
    if how == "stopped":
        stage.at_step["steady"] = lambda: stage.stop.request("asked")
    outcome = stage.run(ON_STATION)
    assert outcome.off_confirmed, outcome.not_confirmed
    ((_, main_off),) = stage.spans("left.1")
    ((_, fan_off),) = stage.spans("right.1")
    assert main_off is not None
    assert fan_off is not None
    truth = stage.network.truth().traces["main"]
    before = truth.between(main_off - 0.39, main_off - 0.02)
    left = before.columns["voltage"]
    assert left[0] == pytest.approx(11.7, abs=0.5)
    assert left[-1] < 1.2
    assert np.interp(main_off - 0.2, before.time, left) == pytest.approx(6.0, abs=0.7)


def test_a_ramp_is_left_out_where_a_trip_ends_it(tmp_path: Path) -> None:
    mischief = ["right.1: overheats at 0.6 s"]
    stage = Stage(tmp_path, STATION, COOLED, mischief, gate=", at_end: {ramp_down: 400 ms}")
    outcome = stage.run(ON_STATION)
    assert outcome.ended is Ended.TRIPPED
    ((_, tripped),) = stage.spans("right.1")
    ((_, off),) = stage.spans("left.1")
    assert tripped is not None
    assert off is not None
    assert off - tripped < 0.2


@pytest.mark.parametrize("how", ["completed", "stopped", "reset"])
def test_what_stays_on_stays_on_and_says_why(tmp_path: Path, how: str) -> None:
    mischief = ["left: reset at 0.6 s"] if how == "reset" else []
    stage = Stage(tmp_path, STATION, COOLED, mischief, drain=", at_end: {stays_on: cools the heat sink}")
    if how == "stopped":
        stage.at_step["steady"] = lambda: stage.stop.request("asked")
    outcome = stage.run(ON_STATION)
    assert outcome.off_confirmed, outcome.not_confirmed
    assert stage.is_on("right.1")
    assert stage.network.voltage("right.1") == pytest.approx(12.0, abs=0.1)
    assert not stage.is_on("left.1")
    assert outcome.switched_off["fan"].stays_on == "cools the heat sink"
    assert not outcome.switched_off["fan"].confirmed
    assert outcome.switched_off["main"].confirmed


@pytest.mark.parametrize("what", ["held at 0 V", "sinks"])
@pytest.mark.parametrize("sink", ["sink: 200 mA, ", ""])
def test_an_output_that_takes_in_current_while_off_from_the_cell_is_off_all_the_same(
    tmp_path: Path, what: str, sink: str
) -> None:
    """The reading of -0.2 A is no sign of an output that is on: it is what the bench says of it."""
    own = BENCH.replace("OUTPUT", OUTPUT.replace("bleeder:", f"when_off: {what}, {sink}bleeder:"))
    stage = Stage(tmp_path, CELL, CHARGED, bench=own)
    outcome = stage.run(ON_CELL)
    assert outcome.ended is Ended.COMPLETED
    assert outcome.off_confirmed, outcome.not_confirmed
    taken = stage.network.current("left.1")
    assert taken == pytest.approx(-0.2 if sink else 0.0, abs=0.01)
