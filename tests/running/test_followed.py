"""Lines that the outputs play by their own slew: what the readings show of another one."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from tests.said import says

from railwright.running.followed import Followed
from railwright.running.outcome import InputReading
from railwright.traces import Mode


def reading(time: float, voltage: float, mode: Mode | None = Mode.CV, age: float = 0.02) -> InputReading:
    return InputReading(time, "main", "at load", voltage, 0.3, mode, "", age=age)


# Many: the line as it was told, and what the output does.
def played(
    start: float,
    goal: float,
    slew: float,
    true_slew: float,
    *,
    mode: Mode | None = Mode.CV,
    lasts: float = 3.0,
    lag: float = 0.015,
) -> dict[str, str]:
    """A line told at 1 s, by an output that has another slew; readings every 10 ms, so old [s]."""
    followed = Followed()
    followed.see(reading(0.9, start))
    followed.told("main", 1.0, goal, slew)
    for time in np.arange(0.95, 1.0 + lasts, 0.01):
        gone = true_slew * max(0.0, time - lag - 1.0)
        voltage = start + np.sign(goal - start) * min(gone, abs(goal - start))
        followed.see(reading(float(time), float(voltage), mode))
    return followed.differences


@pytest.mark.parametrize("factor", [1e-3, 1.0 / 60.0, 60.0, 1e3])
@pytest.mark.parametrize("slew", [2.0, 20.0, 2000.0])
@pytest.mark.parametrize(("start", "goal"), [(0.0, 12.0), (5.0, 16.0), (12.0, 3.0)])
def test_a_slew_that_is_another_one_is_seen(start: float, goal: float, slew: float, factor: float) -> None:
    """Where it can be: a line that takes less than what readings tell apart is not seen to be faster, and one
    down that is too slow could be held by a capacitor.
    """
    visible = goal > start if factor < 1.0 else slew < 2000.0
    late = 2.0 * abs(goal - start) / slew + 0.3
    found = played(start, goal, slew, factor * slew, lasts=late + 1.0)
    assert list(found) == ["main"] * visible


@pytest.mark.parametrize("slew", [2.0, 20.0, 2000.0])
@pytest.mark.parametrize("off", [0.9, 1.0, 1.1])
@pytest.mark.parametrize(("start", "goal"), [(0.0, 12.0), (5.0, 16.0), (12.0, 3.0), (12.0, 12.5)])
def test_a_slew_as_it_was_told_is_followed(start: float, goal: float, slew: float, off: float) -> None:
    assert played(start, goal, slew, off * slew, lasts=2.5 * abs(goal - start) / slew + 1.0) == {}


@pytest.mark.parametrize("mode", [Mode.CC, None])
def test_what_a_limit_holds_back_or_nothing_tells_is_no_sign(mode: Mode | None) -> None:
    assert played(0.0, 12.0, 2000.0, 2.0, mode=mode) == {}


def _jump(followed: Followed) -> None:
    followed.told("main", 1.1, 0.0, None)


def _forget(followed: Followed) -> None:
    followed.forget("main")


@pytest.mark.parametrize("then", [_jump, _forget])
def test_what_comes_after_ends_a_line(then: Callable[[Followed], None]) -> None:
    followed = Followed()
    followed.told("main", 1.0, 12.0, 20.0)
    then(followed)
    followed.see(reading(5.0, 0.4))
    assert followed.differences == {}


def test_what_is_read_before_counts_where_a_device_holds_a_voltage() -> None:
    assert played(11.0, 16.0, 20.0, 20.0) == {}
    followed = Followed()
    followed.see(reading(0.9, 11.0))
    followed.told("main", 1.0, 16.0, 20.0)
    followed.see(reading(1.03, 11.2))
    assert followed.differences == {}


def test_it_says_what_was_told_and_what_was_read() -> None:
    (told,) = played(0.0, 12.0, 2000.0, 2.0).values()
    assert says(told, "main", "12 V", "2 kV/s", "0 V", "0.45 V", "240 ms", "12 V")
