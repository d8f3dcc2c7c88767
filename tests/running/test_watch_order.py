"""What was asked before an output was switched, and came after it, says nothing of it."""

from __future__ import annotations

from tests.said import says

from railwright.running.outcome import InputReading
from railwright.running.watch import Watch
from railwright.traces import Mode


def reading(asked: float, off: tuple[str, ...]) -> InputReading:
    return InputReading(asked - 0.002, "main", "at load", 0.0, 0.0, Mode.OFF, "", off=off, asked=asked)


def test_a_state_asked_before_switching_on_is_no_output_that_went_off() -> None:
    watch = Watch((), {"main": 1.0})
    watch.switched("main", True, 1.0)
    assert watch.see(reading(0.999, ("left.1",))) == ([], None)
    _, alarm = watch.see(reading(1.001, ("left.1",)))
    assert alarm is not None
    assert says(alarm.cause, "main", "left.1", "off")


def test_an_output_that_went_off_is_told_once() -> None:
    watch = Watch((), {"main": 1.0})
    watch.switched("main", True, 1.0)
    assert watch.see(reading(1.2, ("left.1",)))[1] is not None
    assert watch.see(reading(1.3, ("left.1",))) == ([], None)
