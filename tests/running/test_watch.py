"""What a run sees in its readings."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from tests.said import figures, says

from railwright.documents.procedure import StopCondition
from railwright.records.ended import Ended
from railwright.running.outcome import InputReading
from railwright.running.watch import Watch
from railwright.traces import UNPROVED, Event, Mode


def reading(time: float, current: float = 0.3, voltage: float = 12.0, **more: Any) -> InputReading:
    given: dict[str, Any] = {"mode": Mode.CV, "trip": "", **more}
    read = InputReading(time, "main", "at load", voltage, current, given["mode"], given["trip"])
    return replace(read, age=given.get("age", 0.0))


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
    assert watch.see(reading(-0.002, current=0.0)) == ([], None)
    (event,), _ = watch.see(reading(0.008))
    assert (event.time, event.detail) == (0.0, "at 12 V, 0.3 A")
    watch.switched("main", False, 1.0)
    assert watch.see(reading(1.1, mode=Mode.OFF)) == ([], None)


def seen(watch: Watch, *readings: InputReading) -> list[Event]:
    return [event for each in readings for event in watch.see(each)[0]]


def test_a_mode_comes_with_a_reading_that_lies_after_it_and_with_the_time_at_which_it_was_seen() -> None:
    """A status is of now; latency, aperture and update make what is read with it up to 25 ms older."""
    watch, old = watching(), {"age": 0.025}
    early = [reading(0.01 * n, 1.0, 2.0 * n, mode=Mode.CC, **old) for n in range(3)]
    assert seen(watch, *early) == []
    (charging,) = seen(watch, reading(0.03, 0.99, 8.0, mode=Mode.CC, **old))
    assert (charging.time, charging.what, charging.detail) == (0.0, "enters CC", "at 8 V, 0.99 A")
    assert seen(watch, reading(0.04, 0.98, 9.9, **old), reading(0.05, 0.5, 11.8, **old)) == []
    (steady,) = seen(watch, reading(0.07, 0.3, 12.0, **old))
    assert (steady.time, steady.what) == (0.04, "enters CV")
    assert says(steady.detail, "12 V", "0.3 A", "8 V", "0.99 A")


def test_a_mode_too_short_for_a_reading_says_so() -> None:
    """Switched on at 0: what comes with the first status was read before that, the next one half before."""
    watch, old = watching(), {"age": 0.02}
    assert seen(watch, reading(-0.001, 0.0, -0.004, mode=Mode.CC, **old)) == []
    assert seen(watch, reading(0.009, 0.2, 0.2, mode=Mode.CC, **old)) == []
    (short,) = seen(watch, reading(0.018, 0.7, 9.8, **old))
    assert (short.time, short.what, figures(short.detail)) == (0.0, "enters CC", [])


def test_what_waits_for_a_reading_is_told_when_there_will_be_none() -> None:
    watch = watching()
    assert seen(watch, reading(0.01, age=0.025)) == []
    (event,) = watch.switched("main", False, 0.02)
    assert (event.time, event.what, figures(event.detail)) == (0.01, "enters CV", [])


def test_a_trip_comes_with_what_was_read_before_it() -> None:
    watch = watching()
    seen(watch, reading(0.01, 0.9, 15.0))
    (trip,) = seen(watch, reading(0.02, 0.1, 3.0, mode=Mode.TRIPPED, trip="OVP"))
    assert (trip.time, trip.detail) == (0.02, "before it 15 V, 0.9 A")


def test_a_fall_has_the_time_of_the_first_reading_below_and_says_what_came_before() -> None:
    watch = Watch([], {"main": 1.0})
    watch.switched("main", True, 0.0)
    watch.switched("main", False, 1.0)
    voltages = {0.998: 0.5, 1.01: 8.0, 1.02: 1.5, 1.03: 0.75, 1.04: 0.25}  # the first is from before
    (fell,) = seen(watch, *(reading(t, 0.0, v, mode=Mode.OFF) for t, v in voltages.items()))
    assert (fell.time, fell.what) == (1.03, "fell")
    assert says(fell.detail, "1 V", "30 ms", "0.75 V", "10 ms", "1.5 V")
    assert watch.fell_after == {"main": pytest.approx(0.03)}
    watch.switched("main", True, 2.0)
    assert watch.fell_after == {}


@pytest.mark.parametrize("last", [0.99, 0.2, -0.4])
def test_what_had_fallen_before_it_was_switched_off_did_not_fall_by_that(last: float) -> None:
    watch = Watch([], {"main": 1.0})
    watch.switched("main", True, 0.0)
    seen(watch, reading(0.5, 0.3, 12.0), reading(0.98, 0.0, last))
    watch.switched("main", False, 1.0)
    (fell,) = seen(watch, reading(1.01, 0.0, 0.1, mode=Mode.OFF))
    assert (fell.what, fell.facts.after, fell.facts.below, fell.facts.voltage) == ("fell", None, 1.0, 0.1)
    assert figures(fell.detail) == ["1 V", "0.1 V"]
    assert watch.fell_after == {}


@pytest.mark.parametrize("read", [8.0, 0.3])
def test_what_tripped_falls_by_its_trip_and_not_by_off(read: float) -> None:
    """The voltage is still there, or is not, in the reading that shows the trip."""
    watch = Watch([], {"main": 1.0})
    watch.switched("main", True, 0.0)
    seen(watch, reading(0.5, 0.3, 12.0), reading(0.52, 0.0, read, mode=Mode.TRIPPED, trip="OVP"))
    watch.switched("main", False, 0.53)
    (fell,) = seen(watch, reading(0.54, 0.0, 0.1, mode=Mode.OFF))
    assert (fell.what, fell.facts.after, watch.fell_after) == ("fell", None, {})
    watch.switched("main", True, 1.0)
    watch.switched("main", False, 2.0)
    (fell,) = seen(watch, reading(1.99, 0.3, 12.0), reading(2.04, 0.0, 0.1, mode=Mode.OFF))
    assert fell.facts.after == pytest.approx(0.04)
    assert watch.fell_after == {"main": pytest.approx(0.04)}


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
    assert says(alarm.cause, "main", "1 A", "0.9 A", "100 ms")


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


def test_a_condition_for_one_step_looks_only_at_readings_wholly_inside_it() -> None:
    watch = watching(current_above="1 A", during="rise")
    assert watch.see(reading(0.1, 2.0))[1] is None
    watch.step_begins("rise", 0.2)
    assert watch.see(reading(0.21, 2.0, age=0.02))[1] is None  # it covers what was before the step
    alarm = watch.see(reading(0.22, 2.0, age=0.02))[1]
    assert alarm is not None
    assert says(alarm.cause, "main", "2 A", "1 A", "rise")
    watch.step_begins("steady", 0.3)
    assert watch.see(reading(0.4, 2.0))[1] is None


def test_time_in_a_condition_for_one_step_begins_anew_with_the_step() -> None:
    watch = watching(**{"current_below": "1 A", "during": "rise", "for": "50 ms"})
    watch.step_begins("rise", 0.0)
    assert watch.see(reading(0.01, 0.5))[1] is None
    watch.step_begins("hold", 0.02)
    watch.step_begins("rise", 0.03)
    assert watch.see(reading(0.065, 0.5))[1] is None
    assert watch.see(reading(0.12, 0.5))[1] is not None


def test_a_likely_cause_is_told_with_what_ends_the_run() -> None:
    watch = watching(voltage_below="10 V", likely="a wire is off")
    alarm = watch.see(reading(0.1, voltage=9.0))[1]
    assert alarm is not None
    assert says(alarm.cause, "main", "9 V", "10 V", "a wire is off")


@pytest.mark.parametrize(
    ("trips", "said"), [("any", "; likely: a short"), ("OVP", ""), ("current limit", "; likely: a short")]
)
def test_a_trip_is_told_with_its_likely_cause(trips: str, said: str) -> None:
    watch = watching(trips=trips, likely="a short")
    alarm = watch.see(reading(0.1, mode=Mode.TRIPPED, trip="current limit"))[1]
    assert alarm is not None
    assert (alarm.ended, alarm.cause) == (Ended.TRIPPED, f"main tripped: current limit{said}")


@pytest.mark.parametrize("off_first", [True, False])
@pytest.mark.parametrize("trip", ["OVP", "OCP"])
def test_a_trip_that_nobody_provoked_says_so(trip: str, off_first: bool) -> None:
    watch = Watch([], {"main": 1.0}, lambda name, named: named == "OCP")
    watch.switched("main", True, 0.0)
    around = {"exchange": (0.09, 0.1)}
    watch.see(replace(reading(0.1), **around))
    if off_first:
        watch.switched("main", False, 0.15, 0.16)
    events, _ = watch.see(replace(reading(0.2, mode=Mode.TRIPPED, trip=trip), exchange=(0.19, 0.2)))
    (tripped,) = (each for each in events if each.kind.trip)
    assert tripped.facts.unproved is (trip == "OCP")
    assert (UNPROVED in tripped.detail) is (trip == "OCP")
    assert Event.from_data(tripped.as_data()) == tripped


def test_a_state_that_was_read_before_switching_on_is_no_news() -> None:
    """A busy host takes in the answer to the switch and the look before it at once."""
    watch = Watch([])
    watch.switched("main", True, 0.0, done=100.0)
    before, after = (
        replace(reading(0.002, voltage=0.0, mode=Mode.OFF), off=("left.1",), asked=when)
        for when in (99.99, 100.01)
    )
    assert watch.see(before) == ([], None)
    _, alarm = watch.see(after)
    assert alarm is not None
    assert says(alarm.cause, "left.1", "off")


def test_outputs_that_go_off_one_after_the_other_are_no_alarm() -> None:
    """Of two supplies in series one says that it is off while the other is still told."""
    watch = watching()
    watch.switches("main")
    assert watch.see(replace(reading(1.0, mode=Mode.OFF), off=("left.1",), asked=101.0)) == ([], None)
    watch.switched("main", False, 1.0)
    assert watch.see(replace(reading(1.1, mode=Mode.OFF), off=("left.1",), asked=101.1)) == ([], None)


def test_an_output_that_is_on_and_was_not_switched_on_by_the_run_is_an_alarm() -> None:
    watch = Watch([])
    on = replace(reading(1.0), outputs=(("left.1", 12.0, 0.3),), asked=101.0)
    assert watch.see(replace(on, off=("left.1",))) == ([], None)
    _, alarm = watch.see(on)
    assert alarm is not None
    assert (alarm.ended, says(alarm.cause, "left.1", "on")) == (Ended.CHANGED, True)
    watch.switches("main")
    assert watch.see(on) == ([], None)
    watch.switched("main", True, 1.0, done=102.0)
    watch.switched("main", False, 2.0, done=103.0)
    assert watch.see(replace(on, asked=102.9)) == ([], None)  # read before the command to go off
    assert watch.see(replace(on, asked=103.1))[1] is not None
