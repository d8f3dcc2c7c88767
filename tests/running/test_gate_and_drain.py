"""A gate bias that stays until the drain is off: at a normal end, and however else a run ends."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.running.stage import AMPLIFIED, Stage
from tests.said import says

from railwright.records.ended import Ended


def in_order(stage: Stage) -> None:
    """The drain was energised, and never without the gate."""
    drain, gate = stage.spans("right.1"), stage.spans("left.1")
    assert drain
    assert gate
    for begin, end in drain:
        assert end is not None, "the drain is still on"
        assert any(on < begin and (off is None or off > end) for on, off in gate), (drain, gate)


def test_a_normal_end(tmp_path: Path) -> None:
    stage = Stage(tmp_path)
    outcome = stage.run()
    assert (outcome.ended, outcome.off_confirmed) == (Ended.COMPLETED, True), outcome.cause
    in_order(stage)
    assert not stage.is_on("left.1")
    assert (stage.stop.wait_fd, stage.stop.wake_fd) == (-1, -1), "its descriptors are closed"


@pytest.mark.parametrize(
    ("mischief", "ended"),
    [
        ("right.1: overheats at 0.6 s", Ended.TRIPPED),
        ("right.1: goes off at 0.6 s", Ended.STOPPED),
        ('left: told "VOLT 3.5,(@1)" at 0.6 s', Ended.CHANGED),
        ("right: reset at 0.6 s", Ended.INSTRUMENT),
        ("left: reset at 0.6 s", Ended.INSTRUMENT),
        ("left: silent at 0.6 s for 1.5 s", Ended.INSTRUMENT),
        ("left: garbage at 0.6 s for 3 times", Ended.INSTRUMENT),
        ("right: slow 30 ms at 0.6 s", Ended.COMPLETED),
        ("left: slow 30 ms at 0.6 s", Ended.COMPLETED),
    ],
)
def test_whatever_ends_it_the_drain_goes_first(tmp_path: Path, mischief: str, ended: Ended) -> None:
    stage = Stage(tmp_path, mischief=[mischief])
    outcome = stage.run()
    assert (outcome.ended, outcome.off_confirmed) == (ended, True), (outcome.cause, outcome.not_confirmed)
    in_order(stage)
    assert not stage.is_on("left.1")


def test_a_stop_from_outside(tmp_path: Path) -> None:
    stage = Stage(tmp_path)
    stage.at_step["steady"] = lambda: stage.stop.request("asked")
    outcome = stage.run()
    assert (outcome.ended, outcome.off_confirmed) == (Ended.INTERRUPTED, True)
    in_order(stage)


def test_a_stop_condition(tmp_path: Path) -> None:
    stop = "stop_when: [{input: drain, current_above: 400 mA, for: 30 ms}]\n"
    stage = Stage(tmp_path, procedure=AMPLIFIED + stop)
    outcome = stage.run()
    assert (outcome.ended, outcome.off_confirmed) == (Ended.STOPPED, True)
    assert outcome.cause.startswith("drain: current")
    in_order(stage)


@pytest.mark.parametrize("trip", ["left.1: overheats at 0.6 s", "left.1: goes off at 0.6 s"])
def test_a_gate_that_goes_off_by_itself_takes_the_drain_with_it(tmp_path: Path, trip: str) -> None:
    stage = Stage(tmp_path, mischief=[trip])
    outcome = stage.run()
    assert outcome.off_confirmed, outcome.not_confirmed
    ((_, gate_off),) = stage.spans("left.1")
    ((_, drain_off),) = stage.spans("right.1")
    assert gate_off is not None
    assert drain_off is not None
    assert drain_off - gate_off < 0.1


def test_what_fell_by_its_own_trip_is_not_said_to_have_fallen_by_off(tmp_path: Path) -> None:
    outcome = Stage(tmp_path, mischief=["left.1: overheats at 0.6 s"]).run()
    ended = outcome.switched_off
    assert (ended["gate"].confirmed, ended["gate"].fell_after) == (True, None)
    assert ended["drain"].fell_after is not None
    fell = {each.subject: each.facts.after for each in outcome.record.events if each.what == "fell"}
    assert (fell["gate"], fell["drain"]) == (None, pytest.approx(ended["drain"].fell_after))


@pytest.mark.parametrize(("how", "sent"), [("refuses", False), ("silent", True), ("deaf", True)])
def test_off_is_said_to_be_sent_where_a_connection_took_it(tmp_path: Path, how: str, sent: bool) -> None:
    outcome = Stage(tmp_path, mischief=[f"right: {how} at 0.6 s for ever"]).run()
    told = [each.subject for each in outcome.record.events if each.what == "off sent"]
    assert ("drain" in told) is sent


@pytest.mark.parametrize("how", ["silent", "deaf", "refuses"])
def test_with_the_drains_supply_dead_the_gate_stays_on_and_that_is_said(tmp_path: Path, how: str) -> None:
    stage = Stage(tmp_path, mischief=[f"right: {how} at 0.6 s for ever"])
    outcome = stage.run()
    assert outcome.ended is Ended.INSTRUMENT
    assert outcome.cause.startswith("right: ")
    assert not outcome.off_confirmed
    assert stage.is_on("left.1"), "the gate went off before the drain was confirmed off"
    gate, drain = sorted(outcome.not_confirmed, key=lambda line: line.startswith("drain"))
    assert says(gate, "gate", "left.1", "drain", "OFF", "mains switch")
    assert says(drain, "drain", "right.1", "right", "mains switch")
    # What is told of a voltage was read: the gate's goes on to be, the drain's was before OFF, if that left.
    assert outcome.switched_off["gate"].residual == pytest.approx(3.0, abs=0.05)
    drain_off = outcome.switched_off["drain"]
    last = (drain_off.residual, drain_off.before)
    assert last == ((pytest.approx(12.0, abs=0.3), None)[:: 1 if how == "refuses" else -1])
    # A supply that only gives no answers does what it is told.
    assert stage.is_on("right.1") is (how != "silent")


def test_a_drain_that_comes_back_is_switched_off_and_then_the_gate(tmp_path: Path) -> None:
    stage = Stage(tmp_path, mischief=["right: deaf at 0.6 s for 2 s"])
    outcome = stage.run()
    assert (outcome.ended, outcome.off_confirmed) == (Ended.INSTRUMENT, True), outcome.not_confirmed
    in_order(stage)
    assert not stage.is_on("left.1")
    assert [line.partition(" ")[0] for line in outcome.cautions].count("right") == 1


def test_a_drain_that_does_not_go_off_keeps_the_gate_on(tmp_path: Path) -> None:
    stage = Stage(tmp_path, mischief=["right.1: stays on at 0.6 s"])
    outcome = stage.run()
    assert not outcome.off_confirmed
    assert stage.is_on("left.1")
    assert stage.is_on("right.1")


def test_with_the_gates_supply_dead_the_drain_goes_off_at_once(tmp_path: Path) -> None:
    stage = Stage(tmp_path, mischief=["left: deaf at 0.6 s for ever"])
    outcome = stage.run()
    assert outcome.ended is Ended.INSTRUMENT
    (line,) = outcome.not_confirmed
    assert says(line, "gate", "left.1", "left", "lost")
    in_order(stage)
    ((_, drain_off),) = stage.spans("right.1")
    acts = [act.time for act in stage.network.acts()]
    assert drain_off is not None
    assert drain_off - acts[0] < 3.0, acts


def test_with_the_run_gone_the_guard_keeps_the_order(tmp_path: Path) -> None:
    class Killed(BaseException):
        pass

    def die() -> None:
        raise Killed

    stage = Stage(tmp_path)
    stage.at_step["steady"] = die
    with pytest.raises(Killed):
        stage.run()
    in_order(stage)
    assert not stage.is_on("left.1")


def test_a_supply_that_becomes_slow_is_no_guard_that_hangs(tmp_path: Path) -> None:
    stage = Stage(tmp_path, mischief=["left: slow 600 ms at 0.6 s"])
    outcome = stage.run()
    assert (outcome.ended, outcome.off_confirmed) == (Ended.COMPLETED, True), outcome.cause
    in_order(stage)


def test_one_that_is_nearly_too_slow_is_waited_for_behind_its_readings(tmp_path: Path) -> None:
    stage = Stage(tmp_path, mischief=["left: slow 900 ms at 0.6 s"])
    outcome = stage.run(wait_for_lost=20.0)
    assert (outcome.ended, outcome.off_confirmed) == (Ended.COMPLETED, True), outcome.cause
    in_order(stage)


AT_ONCE = AMPLIFIED.replace("order: [drain, gate], gap: 50 ms", "order: [drain, gate], gap: 0 s")


def test_a_power_down_lets_the_gate_wait_until_the_drain_is_confirmed_off(tmp_path: Path) -> None:
    assert AT_ONCE != AMPLIFIED
    stage = Stage(tmp_path, procedure=AT_ONCE)
    outcome = stage.run()
    assert (outcome.ended, outcome.off_confirmed) == (Ended.COMPLETED, True), outcome.cause
    in_order(stage)
    ((_, gate_off),) = stage.spans("left.1")
    ((_, drain_off),) = stage.spans("right.1")
    assert gate_off is not None
    assert drain_off is not None
    # Read off for a quarter of a second, and its capacitor empty before that.
    assert gate_off - drain_off > 0.25
    whats = [(event.what, event.subject) for event in outcome.record.events]
    assert whats.index(("off", "drain")) < whats.index(("fell", "drain")) < whats.index(("off", "gate"))
    assert ("waits for off", "gate") in whats
    # What was waited for is none of the step's lateness.
    assert outcome.worst_lateness < 0.05


@pytest.mark.parametrize("procedure", [AMPLIFIED, AT_ONCE])
def test_a_drain_that_only_says_that_it_is_off_keeps_the_gate_on_in_a_power_down(
    tmp_path: Path, procedure: str
) -> None:
    stage = Stage(tmp_path, procedure=procedure, mischief=["right.1: stays on but says off at 1 s"])
    outcome = stage.run()
    assert outcome.ended is Ended.STOPPED
    assert says(outcome.cause, "gate", "drain", "right.1")
    assert not outcome.off_confirmed
    assert stage.is_on("left.1"), "the gate went off before the drain was confirmed off"
    assert outcome.switched_off["gate"].residual == pytest.approx(3.0, abs=0.05)


def test_a_gate_that_is_off_already_is_not_said_to_stay_on(tmp_path: Path) -> None:
    """It went off by itself; the drain does not go off. Nothing is left on at the gate, and that is read."""
    stage = Stage(tmp_path, mischief=["left.1: goes off at 0.6 s", "right.1: stays on at 0.5 s"])
    outcome = stage.run()
    assert not outcome.off_confirmed
    assert not stage.is_on("left.1")
    gate = outcome.switched_off["gate"]
    assert gate.confirmed
    assert gate.residual == pytest.approx(0.0, abs=0.1)
    assert [line.split(" ")[0] for line in outcome.not_confirmed] == ["drain"]


def test_a_gate_that_only_says_that_it_is_off_is_left_alone(tmp_path: Path) -> None:
    stage = Stage(tmp_path, mischief=["left.1: stays on but says off at 0.6 s", "right.1: stays on at 0.5 s"])
    outcome = stage.run()
    assert not outcome.off_confirmed
    assert stage.is_on("left.1")
    assert sorted(line.split(" ")[0] for line in outcome.not_confirmed) == ["drain", "gate"]
