"""A run that is left alone arms its supplies' watchdogs, and its end switches them off again."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest
from tests.running.stage import AMPLIFIED, Stage
from tests.said import says

from railwright.records.ended import Ended
from railwright.running.outcome import RunOutcome

ALONE = AMPLIFIED + "attended: no\n"
BOTH = ("{times: 0.1 s .. 60 s, does: off}",) * 2


def alone(folder: Path, *mischief: str, watchdogs: tuple[str, str] = BOTH, procedure: str = ALONE) -> Stage:
    return Stage(folder, procedure=procedure, mischief=mischief, watchdogs=watchdogs)


def states(stage: Stage) -> list[tuple[bool, float]]:
    return [(s.supply.watchdog.on, s.supply.watchdog.time) for s in stage.network.servers.values()]


def told(outcome: RunOutcome) -> list[tuple[str, str]]:
    return [(e.what, e.subject) for e in outcome.record.events if e.what.startswith("watchdog")]


def test_they_are_armed_before_anything_is_on_and_off_at_the_end(tmp_path: Path) -> None:
    stage = alone(tmp_path)
    outcome = stage.run()
    assert (outcome.ended, outcome.off_confirmed) == (Ended.COMPLETED, True), outcome.cause
    # The gate is on left, and is to outlast the drain on right.
    assert states(stage) == [(False, 6.0), (False, 3.0)]
    sent = [line for _, way, line in stage.lines if way == "sent"]
    armed = [place for place, line in enumerate(sent) if "WATChdog:STATe ON" in line]
    first_on = next(place for place, line in enumerate(sent) if "OUTPut:STATe ON" in line)
    assert len(armed) == 2
    assert armed[-1] < first_on
    assert told(outcome) == [
        ("watchdog armed", "left"),
        ("watchdog armed", "right"),
        ("watchdog off", "left"),
        ("watchdog off", "right"),
    ]


def test_where_somebody_is_there_they_are_left_alone(tmp_path: Path) -> None:
    stage = alone(tmp_path, procedure=AMPLIFIED)
    outcome = stage.run()
    assert states(stage) == [(False, 60.0), (False, 60.0)]
    assert told(outcome) == []
    assert not any("WATC" in line for _, _, line in stage.lines)


def test_they_are_off_after_a_stop_too(tmp_path: Path) -> None:
    stage = alone(tmp_path)
    stage.at_step["steady"] = lambda: stage.stop.request("asked")
    assert stage.run().off_confirmed
    assert [on for on, _ in states(stage)] == [False, False]


def test_when_everything_falls_silent_the_drain_goes_off_before_the_gate(tmp_path: Path) -> None:
    class Killed(BaseException):
        pass

    def die() -> None:
        # The guard dies with the run: nobody speaks any more.
        stage.link.guard.plan = None
        raise Killed

    stage = alone(tmp_path)
    stage.at_step["steady"] = die
    with pytest.raises(Killed):
        stage.run()
    stage.loop.run_until_complete(asyncio.sleep(8.0))
    ((_, drain_off),) = stage.spans("right.1")
    ((_, gate_off),) = stage.spans("left.1")
    assert drain_off is not None
    assert gate_off is not None
    assert gate_off - drain_off == pytest.approx(3.0, abs=0.2)


def test_a_dead_drain_keeps_its_watchdog_and_the_gate_loses_its(tmp_path: Path) -> None:
    stage = alone(tmp_path, "right: silent at 0.6 s for ever", "right.1: stays on at 0.6 s")
    outcome = stage.run()
    assert not outcome.off_confirmed
    assert told(outcome)[2:] == [("watchdog off", "left"), ("watchdog stays on", "right")]
    assert any(says(caution, "watchdog", "right", "drain") for caution in outcome.cautions)
    assert [on for on, _ in states(stage)] == [False, True]
    assert stage.is_on("left.1")


def test_one_that_cannot_wait_long_enough_ends_it_before_anything_is_on(tmp_path: Path) -> None:
    stage = alone(tmp_path, watchdogs=("{times: 1 ms .. 30 ms, does: off}", BOTH[1]))
    outcome = stage.run()
    assert outcome.ended is Ended.INSTRUMENT
    assert says(outcome.cause, "left", "30 ms", "20 ms")
    assert not outcome.energised


def test_one_that_reads_back_wrong_ends_it_before_anything_is_on(tmp_path: Path) -> None:
    stage = alone(tmp_path, 'right: told "SYST:COMM:WATC:STAT OFF" after "WATChdog:STATe ON"')
    outcome = stage.run()
    assert outcome.ended is Ended.INSTRUMENT
    assert says(outcome.cause, "right", "watchdog", "3 s", "off")
    assert not outcome.energised
    assert [on for on, _ in states(stage)] == [False, False]
