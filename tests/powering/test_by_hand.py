"""An input that is powered by hand: what is asked is done within what was checked, and recorded."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests.bench import BENCH, DEVICE, copy_demo
from tests.powering.hand import Hands, led

from railwright.job import Blocked, Job, Power, device_beside, power, power_output
from railwright.powering.procedures import Typed
from railwright.records.ended import Ended
from railwright.running.requests import Requests

BY = "A. Keeper"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the documents lie."""
    return tmp_path_factory.mktemp("documents")


@pytest.fixture(scope="module")
def main(folder: Path) -> Power:
    """The logger's main input, with the limits of the example's procedure."""
    given = copy_demo(folder)
    return power(folder / DEVICE, folder / BENCH, "main", at_most=6.0, hook_up=given, simulated=True)


def times_on(hands: Hands) -> list[float]:
    return [end - begin for begin, end in hands.energised if end is not None]


def test_limits_are_those_that_all_levels_bear(main: Power) -> None:
    assert not main.blocked
    assert (main.at, main.low, main.high) == (12.0, 9.0, 16.0)
    feed = main.check.settings.set_points["main"]
    # Written in the procedure whose hook-up is taken.
    assert (feed.limit, feed.ovp, feed.outputs[0].trip_delay) == (1.0, 18.0, 0.04)
    played = main.levels.checked.rehearsal.record.traces["main"]
    assert played.columns["terminal_voltage"].max() == pytest.approx(16.0, abs=0.1)


def test_another_level_off_on_and_the_end(main: Power, tmp_path: Path) -> None:
    asks = [
        (1.0, lambda r: r.go_to(9.0, BY)),
        (2.0, lambda r: r.off(BY)),
        (3.0, lambda r: r.on(BY)),
        (3.5, lambda r: r.mark("starts again", BY)),
        (4.0, lambda r: r.end(BY)),
    ]
    hands = led(main, tmp_path, asks)
    assert hands.outcome.ended is Ended.COMPLETED, hands.outcome.cause
    assert hands.outcome.off_confirmed
    assert hands.voltage(0.9) == pytest.approx(12.0, abs=0.02)
    assert hands.voltage(1.9) == pytest.approx(9.0, abs=0.02)
    assert hands.voltage(3.9) == pytest.approx(9.0, abs=0.02)
    assert times_on(hands) == pytest.approx([2.0, 1.0], abs=0.2)
    whats = hands.whats("main")
    assert f"asked by hand level 9 V, by {BY}" in whats
    assert f"mark starts again, by {BY}" in whats
    assert [each for each in whats if each in ("on", "off", "level 9 V")] == [
        "on",
        "level 9 V",
        "off",
        "on",
        "off",
    ]
    assert hands.run.completed
    assert len([each for each in hands.outcome.deviations if "by hand" in each]) == 1


def test_a_level_that_was_not_checked_is_not_set(main: Power, tmp_path: Path) -> None:
    def all_wrong(requests: Requests) -> None:
        for level in (8.9, 16.1, 40.0, -12.0, float("nan"), float("inf")):
            requests.go_to(level, BY)

    hands = led(main, tmp_path, [(1.0, all_wrong), (2.0, lambda r: r.end(BY))])
    assert hands.voltage(1.9) == pytest.approx(12.0, abs=0.02)
    assert len([each for each in hands.whats("main") if each.startswith("not done")]) == 6
    assert not [each for each in hands.whats("main") if each.startswith("level")]


def test_it_ends_after_its_longest_time_whatever_was_asked(main: Power, tmp_path: Path) -> None:
    hands = led(main, tmp_path, [(4.0, lambda r: r.off(BY)), (5.0, lambda r: r.on(BY))])
    assert hands.outcome.ended is Ended.COMPLETED
    assert times_on(hands) == pytest.approx([4.0, 1.0], abs=0.2)
    whats = hands.whats("main")
    assert whats.count("off") == 2


def test_off_by_hand_is_not_told_twice_at_the_end(main: Power, tmp_path: Path) -> None:
    for asks in ([(5.0, lambda r: r.off(BY))], [(1.0, lambda r: r.off(BY)), (2.0, lambda r: r.end(BY))]):
        hands = led(main, tmp_path / str(len(asks)), asks)
        assert hands.outcome.ended is Ended.COMPLETED
        assert hands.whats("main").count("off") == 1
        assert len(hands.energised) == 1
        assert hands.outcome.off_confirmed


def test_off_before_it_was_on_leaves_it_off(main: Power, tmp_path: Path) -> None:
    hands = led(main, tmp_path, [(-1.0, lambda r: r.off(BY))])
    assert hands.outcome.ended is Ended.STOPPED
    assert hands.energised == ()


def test_a_level_while_it_is_off_holds_from_the_next_on(main: Power, tmp_path: Path) -> None:
    asks = [
        (1.0, lambda r: r.off(BY)),
        (2.0, lambda r: r.go_to(15.0, BY)),
        (3.0, lambda r: r.on(BY)),
        (4.0, lambda r: r.end(BY)),
    ]
    hands = led(main, tmp_path, asks)
    assert hands.voltage(3.9) == pytest.approx(15.0, abs=0.02)
    # Nothing is told to an output that is off: another set point would come with the next on anyway.
    told = map(json.loads, (tmp_path / "run" / "log.ndjson").read_text("utf-8").splitlines())
    moved = [each["what"] for each in told if each["kind"] == "action" and each["input"] == "main"]
    assert moved == ["on", "off", "on", "off"]


def test_what_was_asked_before_an_off_of_the_same_moment_is_not_done() -> None:
    requests = Requests("main", 9.0, 16.0, 12.0)
    requests.on(BY)
    requests.mark("here", BY)
    requests.go_to(15.0, BY)
    requests.off(BY)
    assert [each.what for each in requests.take()] == ["mark", "off"]
    assert [each.by for each in requests.take()] == []
    assert requests.take() == []


def test_a_trip_ends_it(main: Power, tmp_path: Path) -> None:
    hands = led(main, tmp_path, [(1.0, lambda r: r.go_to(16.0, BY))], mischief=["left.1: overheats at 3 s"])
    assert hands.outcome.ended is Ended.TRIPPED
    assert hands.outcome.off_confirmed


def test_what_was_done_is_a_procedure_that_does_it_again(main: Power, folder: Path, tmp_path: Path) -> None:
    asks = [
        (1.5, lambda r: r.go_to(9.5, BY)),
        (2.0, lambda r: r.mark("dim", BY)),
        (3.0, lambda r: r.off(BY)),
        (4.0, lambda r: r.go_to(15.0, BY)),
        (5.0, lambda r: r.on(BY)),
        (6.0, lambda r: r.end(BY)),
    ]
    hands = led(main, tmp_path, asks)
    path = folder / "done.procedure.yaml"
    text = main.as_procedure(hands.run.events, path)
    assert "dim" in text
    path.write_text(text, "utf-8")
    job = Job.open(path)
    assert not job.check(simulated=True).blocked
    again = [(a.kind, round(a.voltage, 6)) for a in job.timeline.actions]
    assert again == [
        *(("on", 0.0), ("line", 12.0), ("line", 9.5), ("off", 0.0), ("on", 0.0), ("line", 9.5)),
        *(("line", 15.0), ("off", 0.0)),
    ]
    assert job.timeline.duration == pytest.approx(6.0, abs=0.2)
    feed = main.check.settings.set_points["main"]
    assert job.check(simulated=True).settings.set_points["main"] == feed


@pytest.fixture(scope="module")
def connected(folder: Path) -> Power:
    """Something that no document describes, at an output of the example's bench."""
    copy_demo(folder)
    typed = Typed(at=5.0, limit=0.5, bears=6.0, low=4.5, high=5.5)
    return power_output(folder / BENCH, "left.2", typed, at_most=4.0, simulated=True)


def test_what_was_typed_bounds_what_is_set(connected: Power, tmp_path: Path) -> None:
    assert not connected.blocked
    feed = connected.check.settings.set_points["load"]
    assert [str(each) for each in feed.names] == ["left.2"]
    assert feed.limit == 0.5
    assert 5.5 < feed.ovp < 6.0
    asks = [(1.0, lambda r: r.go_to(5.5, BY)), (2.0, lambda r: r.go_to(5.6, BY)), (3.0, lambda r: r.end(BY))]
    hands = led(connected, tmp_path, asks)
    assert hands.outcome.ended is Ended.COMPLETED, hands.outcome.cause
    assert hands.voltage(2.9) == pytest.approx(5.5, abs=0.02)
    assert hands.run.completed
    # What was done lies where it is asked for, with what was typed beside it.
    path = tmp_path / "elsewhere" / "done.procedure.yaml"
    path.parent.mkdir()
    path.write_text(connected.as_procedure(hands.run.events, path), "utf-8")
    device_beside(path).write_text(connected.typed, "utf-8")
    again = Job.open(path).check(simulated=True)
    assert not again.blocked
    assert again.settings.set_points["load"] == feed


def test_an_ovp_that_cannot_stand_between_what_is_asked_and_borne_stops_it(folder: Path) -> None:
    copy_demo(folder)
    typed = Typed(at=5.0, limit=0.5, bears=5.55, low=4.5, high=5.5)
    power = power_output(folder / BENCH, "left.2", typed, simulated=True)
    assert power.blocked
    assert power.check is None
    with pytest.raises(Blocked):
        power.run(unit="S-1", operator=BY, twins=True)


def test_what_cannot_be_meant_is_refused(folder: Path) -> None:
    copy_demo(folder)
    for given, told in (({"name": "mian"}, "mian"), ({"name": "main", "at": 8.0}, "8 V")):
        with pytest.raises(ValueError, match=told):
            power(folder / DEVICE, folder / BENCH, simulated=True, **given)
    with pytest.raises(ValueError, match=r"left\.3"):
        power_output(folder / BENCH, "left.3", Typed(5.0, 0.5, 6.0, 5.0, 5.0), simulated=True)
