"""Windows by themselves: ends on a grid, which of them decide, and what is said where nothing is left."""

from __future__ import annotations

import math

import pytest
from tests.said import says

from railwright.settings.constraints.constraint import Constraint
from railwright.settings.windows.window import End, Replay, Window, collision, end_of

HERE = ("device", "inputs", "main")


def constraint(side: str, near: float, bound: float, **more: object) -> Constraint:
    holds = (lambda value: value >= bound) if side == "low" else (lambda value: value <= bound)
    relax = lambda value: f"{side} relaxed to {value:g}"  # noqa: E731
    return Constraint("key", side, near, holds, "a reason", HERE, relax, **more)  # type: ignore[arg-type]


def end(side: str, value: float, key: str = "key", **more: object) -> End:
    return End(value, side, key, f"why {key}", HERE, **more)  # type: ignore[arg-type]


def window(*ends: End, **more: object) -> Window:
    return Window("main", "ovp", "V", 0.1, "", ends, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("near", [0.0, 1.23, 1.3, 7.0, 1e6])
def test_an_end_is_the_last_step_that_holds_however_far_the_guess(near: float) -> None:
    assert end_of(constraint("low", near, 1.23), 0.1).value == pytest.approx(1.3)
    assert end_of(constraint("high", near, 1.23), 0.1).value == pytest.approx(1.2)


def test_a_constraint_that_nothing_meets() -> None:
    assert end_of(constraint("high", 0.0, -1.0), 0.1).value == pytest.approx(-0.1)
    assert end_of(constraint("low", math.inf, math.inf), 0.1).value == math.inf
    assert end_of(constraint("low", 1.0, math.inf), 0.1).value == math.inf


def test_the_narrowest_ends_decide_and_brackets_can_be_left_out() -> None:
    found = window(
        end("low", 1.0), end("low", 2.0, "guess", bracket=True), end("high", 5.0), end("high", 4.0)
    )
    assert found.low is not None
    assert found.high is not None
    assert (found.low.value, found.high.value) == (2.0, 4.0)
    settled = found.side("low", settled=True)
    assert settled is not None
    assert settled.value == 1.0


def test_a_rehearsed_end_takes_the_place_of_the_closed_forms_of_its_side() -> None:
    found = window(end("low", 3.0, "guess", bracket=True), end("low", 1.0), end("high", 5.0, bracket=True))
    settled = found.with_end(end("low", 2.0, "rehearsed"))
    assert [each.key for each in settled.ends if each.side == "low"] == ["key", "rehearsed"]
    assert settled.high is not None


def test_what_a_value_lies_beyond_comes_furthest_first() -> None:
    found = window(end("low", 3.0, "near"), end("low", 5.0, "far"), end("high", 9.0, "above"))
    assert [each.key for each in found.broken(2.0)] == ["far", "near"]
    assert [each.key for each in found.broken(9.5)] == ["above"]
    assert found.broken(5.0) == []


def test_an_empty_window_names_both_demands_and_what_would_part_them() -> None:
    low = end("low", 6.0, "need", relax=lambda value: f"need no more than {value:g}")
    high = end("high", 5.5, "bears", relax=lambda value: f"bear {value:g}")
    found = window(low, high)
    pair = found.colliding()
    assert pair == (low, high)
    why, remedy = collision(found, pair)
    assert says(why, "main", "6 V", "5.5 V", "0.5 V")
    assert says(remedy, "5.5", "6")
    assert window(low, end("high", 6.0)).colliding() is None


def test_each_output_of_a_group_has_its_part() -> None:
    found = window(end("low", 40.0), end("high", 60.0), parts={"a.1": 0.5, "a.2": 0.25}, recommended=48.0)
    assert found.of_output("a.1") == (20.0, 30.0, 24.0)
    assert found.of_output("a.2") == (10.0, 15.0, 12.0)


def test_how_a_case_is_played_again() -> None:
    assert Replay(corner=10).options == "--corner 0xa"
    assert Replay(cases=1000, seed=7, number=3).options == "--cases 1000 --seed 7 --number 3"
