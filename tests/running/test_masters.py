"""Runs on supplies with a master switch, with their guard and twins in one virtual time."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from tests.running.stage import AMPLIFIED, AMPLIFIER, Stage, points
from tests.said import says

from railwright.documents.loader import load_documents
from railwright.records.ended import Ended
from railwright.running.outcome import RunOutcome
from railwright.traces import EventKind

MASTERED = ("prefixed", "numbered-header")
HEADERS = {"prefixed": "SYSTem:OUTPut:STATe", "numbered-header": "SYSTem:RELease"}

ON_ONE = """\
bench: Quay bench
location: dry
ambient: 23 °C
supplies:
  left:
    address: TCPIP::127.0.0.1::5025::SOCKET
    dialect: DIALECT
    outputs: {1: OUTPUT, 2: {same_as: 1}, 3: {same_as: 1}}
leads:
  pair: {conductor: AWG 18, one_way_length: 1 m}
"""

SET_POINTS = {
    "gate": points("gate", "left.1", 0.05, 6.0),
    "drain": points("drain", "left.2", 1.0, 20.0, ("gate",)),
}


class One(Stage):
    """Gate and drain at two outputs of one supply, whose third feeds nothing."""

    def __init__(self, folder: Path, dialect: str, mischief: Sequence[str] = (), gate: str = "") -> None:
        self.dialect = dialect
        procedure = AMPLIFIED.replace("from: right.1", "from: left.2")
        bench = ON_ONE.replace("DIALECT", dialect)
        super().__init__(folder, AMPLIFIER, procedure, mischief, gate=gate, bench=bench)
        self.twin = self.network.servers["left"].supply

    def go(self, **options: Any) -> RunOutcome:
        return self.run(SET_POINTS, **options)

    def sent(self) -> list[str]:
        """What switched something, by the run and its guard, in order."""
        found = []
        for _, way, line in self.lines:
            units = line.replace(";:", ";").split(";")
            found += [
                u for u in units if way == "sent" and not u.endswith("?") and ("STATe" in u or "REL" in u)
            ]
        return [each for each in found if each.startswith(("OUTPut", "SYSTem"))]


@pytest.mark.parametrize("dialect", MASTERED)
def test_the_master_goes_on_last_of_all_and_off_with_the_outputs(tmp_path: Path, dialect: str) -> None:
    stage = One(tmp_path, dialect)
    outcome = stage.go()
    assert (outcome.ended, outcome.off_confirmed) == (Ended.COMPLETED, True), outcome.cause
    assert outcome.cautions == ()
    assert not stage.twin.master
    header = HEADERS[dialect]
    switched = [unit for unit in stage.sent() if unit.startswith(header)]
    assert switched[-1].split(" ")[1] == "ON"
    assert len(stage.spans("left.1")) == len(stage.spans("left.2")) == 1
    assert stage.spans("left.3") == ()
    kinds = [(each.kind, each.subject) for each in outcome.record.events]
    place = kinds.index((EventKind.MASTER_ON, "left"))
    assert place < kinds.index((EventKind.ON, "gate"))
    assert kinds.index((EventKind.MASTER_OFF, "left")) > kinds.index((EventKind.OFF, "gate"))


@pytest.mark.parametrize("dialect", MASTERED)
@pytest.mark.parametrize("master", [False, True])
@pytest.mark.parametrize("consent", [False, True])
def test_an_output_that_would_come_on_with_it_refuses_the_run(
    tmp_path: Path, dialect: str, master: bool, consent: bool
) -> None:
    """Also with consent: the run's OFF would take from it what its user has agreed to."""
    stage = One(tmp_path, dialect)
    stage.twin.switch(2, True)
    stage.twin.switch_master(master)
    outcome = stage.go(consent=consent)
    assert outcome.ended is Ended.STOPPED
    assert says(outcome.cause, "left.3", "master switch")
    assert not outcome.energised
    assert stage.is_on("left.3") is master
    assert stage.spans("left.1") == stage.spans("left.2") == ()


@pytest.mark.parametrize("dialect", MASTERED)
def test_one_that_is_switched_on_while_the_run_prepares_keeps_the_master_off(
    tmp_path: Path, dialect: str
) -> None:
    stage = One(tmp_path, dialect)

    def preparing(text: str) -> None:
        if text == "read every output":
            stage.twin.switch(2, True)

    stage.preparing = preparing  # type: ignore[method-assign]
    outcome = stage.go()
    assert outcome.ended is Ended.INSTRUMENT
    assert says(outcome.cause, "left", "was not switched on", "3")
    assert stage.spans("left.3") == ()
    assert not stage.twin.master


@pytest.mark.parametrize("dialect", MASTERED)
def test_a_master_that_is_switched_off_at_the_panel_ends_the_run(tmp_path: Path, dialect: str) -> None:
    stage = One(tmp_path, dialect)
    stage.at_step["steady"] = lambda: stage.twin.switch_master(False)
    outcome = stage.go()
    assert (outcome.ended, outcome.off_confirmed) == (Ended.STOPPED, True), outcome.cause
    assert says(outcome.cause, "off")


@pytest.mark.parametrize("dialect", MASTERED)
def test_an_input_that_is_to_stay_on_keeps_its_master_on(tmp_path: Path, dialect: str) -> None:
    stage = One(tmp_path, dialect, gate=", at_end: {stays_on: it holds the bias}")
    stage.at_step["steady"] = lambda: stage.stop.request("asked")
    outcome = stage.go()
    assert outcome.ended is Ended.INTERRUPTED
    assert stage.is_on("left.1")
    assert not stage.is_on("left.2")
    assert stage.twin.master
    assert any(says(each, "master switch of left", "gate") for each in outcome.cautions)


@pytest.mark.parametrize("output", ["left.2", "left.3"])
@pytest.mark.parametrize("dialect", MASTERED)
def test_an_output_that_delivers_although_it_says_off_is_found_before_anything_is_on(
    tmp_path: Path, dialect: str, output: str
) -> None:
    """Its own switch is bridged: with the master it comes up at once, whether the run uses it or not."""
    stage = One(tmp_path, dialect)
    twin = stage.twin

    def bridged(on: bool) -> None:
        type(twin).switch_master(twin, on)
        if on:
            twin.plant.set_voltage(output, 5.0)
            twin.plant.set_current(output, 1.0)
        twin.plant.switch(output, on)

    twin.switch_master = bridged  # type: ignore[method-assign]
    outcome = stage.go()
    assert outcome.ended is Ended.INSTRUMENT
    assert says(outcome.cause, "left", output[-1], "came up with the master switch")
    assert EventKind.MASTER_ON in [each.kind for each in outcome.record.events]
    assert not twin.master
    assert not stage.is_on(output)
    assert stage.spans("left.1") == ()


@pytest.mark.parametrize("dialect", MASTERED)
@pytest.mark.parametrize("master", [False, True])
def test_an_output_of_the_run_that_is_switched_on_is_said_to_be_on_only_with_its_master(
    tmp_path: Path, dialect: str, master: bool
) -> None:
    stage = One(tmp_path, dialect)
    stage.twin.switch(1, True)
    stage.twin.switch_master(master)
    outcome = stage.go()
    assert outcome.ended is Ended.STOPPED
    assert says(outcome.cause, "left.2 is on,") is master
    assert says(outcome.cause, "left.2", "switched on", "master switch off,") is not master


def test_a_bench_without_a_master_is_told_nothing_of_one(tmp_path: Path) -> None:
    stage = Stage(tmp_path)
    outcome = stage.run()
    assert outcome.ended is Ended.COMPLETED
    assert not any(each.kind is EventKind.MASTER_ON for each in outcome.record.events)
    assert load_documents(tmp_path / "short.procedure.yaml").bench.supplies["left"].dialect.master is None
