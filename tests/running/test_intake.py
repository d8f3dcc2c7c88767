"""What comes from the guard while a run goes on: rows of the record, and what ends the run."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, cast

import pytest
from tests.said import says

from railwright.documents.procedure import StopCondition
from railwright.records.ended import Ended
from railwright.running.end_run import EndRun
from railwright.running.intake import Intake
from railwright.running.off_watch import OffWatch
from railwright.running.outcome import InputReading, Progress
from railwright.running.polling import Seen
from railwright.running.recorder import RunRecorder
from railwright.running.watch import Watch
from railwright.traces import Mode


@dataclass
class Lines:
    """A log in memory."""

    path: Path = Path("nowhere")
    dropped: int = 0
    longest_sync: float = 0.0
    failed: OSError | None = None
    kinds: list[str] = field(default_factory=list)

    def write(self, kind: str, **fields: Any) -> None:
        self.kinds.append(kind)

    def close(self) -> None:
        """Nothing to force anywhere."""


@dataclass
class Clock:
    time: float = 0.0

    def now(self) -> float:
        return self.time

    def sleep(self, duration: float) -> None:
        self.time += duration


@dataclass
class Feed:
    trips_when: tuple[str, ...] = ()


class Parts:
    """An intake with everything round it: inputs a, b, c and d, of which all but d are on.

    b goes off with a, c with b, d with a.
    """

    def __init__(self, looks: int = 1, stop_when: tuple[StopCondition, ...] = ()) -> None:
        self.inbox: deque[dict[str, Any]] = deque()
        self.set_points = {"a": Feed(), "b": Feed(("a",)), "c": Feed(("b",)), "d": Feed(("a",))}
        self.on = {"a", "b", "c"}
        self.recorder = RunRecorder(Lines(), Progress(), dict.fromkeys(self.set_points, "at load"), Clock())
        self.watch = Watch(stop_when)
        for name in self.on:
            self.watch.switched(name, True, 0.0)
        me, self.drivers = cast(Any, self), dict[str, Any]()
        self.intake = Intake(me, me, self.recorder, self.watch, me, looks, OffWatch(), me, me, me)

    def see(self, reading: InputReading) -> None:
        """The relays'."""

    def understand(self, message: dict[str, Any]) -> Seen:
        """The polling's."""
        return cast(Seen, message["seen"])

    def come(self, *readings: tuple[int, InputReading], differences: tuple[str, ...] = ()) -> None:
        self.inbox.append({"kind": "poll", "name": "supply", "seen": Seen(readings, differences)})

    def events(self, what: str) -> list[str]:
        return [event.subject for event in self.recorder.events if event.what == what]


def reading(name: str, time: float = 0.5, current: float = 0.3, trip: str = "") -> InputReading:
    return InputReading(time, name, "at load", 12.0, current, Mode.TRIPPED if trip else Mode.CV, trip)


def ends(parts: Parts) -> EndRun:
    with pytest.raises(EndRun) as caught:
        parts.intake.take_in()
    return caught.value


def test_a_trip_takes_with_it_what_is_linked_and_what_is_linked_to_that() -> None:
    parts = Parts()
    parts.come((0, reading("a", trip="OVP")))
    over = ends(parts)
    assert (over.ended, over.cause) == (Ended.TRIPPED, "a tripped: OVP")
    assert over.linked == {"b": "a", "c": "b"}
    assert parts.events("stop condition") == []


def test_a_trip_counts_for_more_than_a_stop_condition_in_the_same_look() -> None:
    condition = StopCondition.model_validate({"input": "b", "current_above": "0.5 A"})
    parts = Parts(stop_when=(condition,))
    parts.come((0, reading("b", current=0.6)), (0, reading("a", trip="OVP")))
    over = ends(parts)
    assert over.ended is Ended.TRIPPED
    assert over.cause == "b: current 0.6 A above 0.5 A; a tripped: OVP"
    assert parts.events("stop condition") == ["b"]


def test_a_stop_condition_switches_nothing_off_by_itself() -> None:
    condition = StopCondition.model_validate({"input": "a", "current_above": "0.5 A"})
    parts = Parts(stop_when=(condition,))
    parts.come((0, reading("a", current=0.6)))
    over = ends(parts)
    assert (over.ended, over.linked) == (Ended.STOPPED, {})


def test_a_setting_that_somebody_changed_ends_the_run() -> None:
    parts = Parts()
    parts.come(differences=("left.1: voltage was set to 12 and now reads 13",))
    over = ends(parts)
    assert over.ended is Ended.CHANGED
    assert says(over.cause, "left.1", "12", "13")


def test_a_guard_that_switches_off_ends_the_run() -> None:
    parts = Parts()
    parts.inbox.append({"kind": "off begun", "why": "switched off by 'railwright off'"})
    over = ends(parts)
    assert (over.ended, over.cause) == (Ended.STOPPED, "switched off by 'railwright off'")


def test_rows_are_looks_by_the_interval_and_the_others_are_looked_at_and_not_recorded() -> None:
    parts = Parts(looks=4)
    parts.come(*((position, reading("a", 0.01 * position)) for position in range(12)))
    parts.intake.take_in()
    assert parts.recorder.rows["a"] == 3
    assert (parts.intake.rows["a"], parts.intake.missed) == (2, 0)


def test_rows_that_were_left_out_are_counted_for_each_input() -> None:
    parts = Parts()
    parts.come((0, reading("a", 0.0)), (3, reading("a", 0.03)), (1, reading("b", 0.01)))
    parts.intake.take_in()
    assert parts.recorder.rows == {"a": 2, "b": 1, "c": 0, "d": 0}
    assert parts.intake.missed == 2 + 1
    parts.intake.close(4)
    assert parts.intake.rows == dict.fromkeys("abcd", 4)
