"""What a run sees in its readings."""

from __future__ import annotations

from typing import Any

import pytest

from railwright.documents.procedure import StopCondition
from railwright.running.outcome import Ended, InputReading
from railwright.running.watch import Watch
from railwright.traces import Mode


def reading(time: float, current: float = 0.3, voltage: float = 12.0, **more: Any) -> InputReading:
    given: dict[str, Any] = {"mode": Mode.CV, "trip": "", **more}
    return InputReading(time, "main", "at load", voltage, current, given["mode"], given["trip"])


def watching(**condition: str) -> Watch:
    watch = Watch([StopCondition.model_validate({"input": "main", **condition})] if condition else [])
    watch.switched("main", True, 0.0)
    return watch


def test_modes_are_events_when_they_change() -> None:
    watch = watching()
    modes = (Mode.CC, Mode.CC, Mode.CV)
    seen = [
        event.what for n, mode in enumerate(modes) for event in watch.see(reading(0.01 * n, mode=mode))[0]
    ]
    assert seen == ["enters CC", "enters CV"]


def test_nothing_happens_before_switching_on() -> None:
    watch = watching()
    (event,), _ = watch.see(reading(-0.002))
    assert event.time == 0.0
    watch.switched("main", False, 1.0)
    assert watch.see(reading(1.1, mode=Mode.OFF)) == ([], None)


def test_an_output_may_say_off_for_a_moment_only() -> None:
    watch = watching()
    assert watch.see(reading(0.05, mode=Mode.OFF)) == ([], None)
    _, alarm = watch.see(reading(0.2, mode=Mode.OFF))
    assert alarm is not None
    assert alarm.ended is Ended.TRIPPED


def test_a_condition_must_hold_for_its_time() -> None:
    watch = watching(current_above="900 mA", **{"for": "100 ms"})
    alarms = [watch.see(reading(0.01 * n, 1.0 if n != 6 else 0.5))[1] for n in range(17)]
    assert alarms == [None] * 17
    alarm = watch.see(reading(0.171, 1.0))[1]
    assert alarm is not None
    assert alarm.cause == "main: current 1 A above 0.9 A for 100 ms"


@pytest.mark.parametrize(
    ("condition", "told"),
    [
        ({"current_below": "1 A"}, "current 0.3 A below 1 A"),
        ({"voltage_above": "5 V"}, "voltage 12 V above 5 V"),
        ({"voltage_below": "15 V"}, "voltage 12 V below 15 V"),
    ],
)
def test_the_other_conditions(condition: dict[str, str], told: str) -> None:
    alarm = watching(**condition).see(reading(0.5))[1]
    assert alarm is not None
    assert (alarm.ended, alarm.cause) == (Ended.STOPPED, f"main: {told}")


def test_a_trip_goes_before_a_condition() -> None:
    events, alarm = watching(voltage_below="15 V").see(reading(0.5, mode=Mode.TRIPPED, trip="OVP"))
    assert events[0].what == "trips OVP"
    assert alarm is not None
    assert alarm.ended is Ended.TRIPPED
