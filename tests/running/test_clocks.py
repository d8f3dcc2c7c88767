"""Clocks that are set or that sleep, by clocks that are told what to say."""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from tests.said import says

from railwright.running.clocks import Clocks


@dataclass
class Hands:
    """Three clocks."""

    monotonic: float = 100.0
    day: float = 1e9
    boot: float = 100.0

    def clocks(self) -> Clocks:
        return Clocks(lambda: self.monotonic, lambda: self.day, lambda: self.boot)

    def go_on(self, seconds: float) -> None:
        self.monotonic, self.day, self.boot = (
            self.monotonic + seconds,
            self.day + seconds,
            self.boot + seconds,
        )


@pytest.mark.parametrize(("by", "words"), [(8.0, "forward by 8 s"), (-3600.0, "back by 3600 s")])
def test_a_clock_that_is_set_is_a_note(by: float, words: str) -> None:
    hands = Hands()
    clocks = hands.clocks()
    hands.go_on(1.0)
    hands.day += by
    assert clocks.look() == ""
    hands.go_on(1.0)
    assert clocks.look() == ""
    (note,) = clocks.notes
    assert says(note, words)


def test_a_computer_that_slept_ends_the_run() -> None:
    hands = Hands()
    clocks = hands.clocks()
    hands.go_on(1.0)
    hands.day, hands.boot = hands.day + 40.0, hands.boot + 40.0
    assert says(clocks.look(), "40 s")


def test_clocks_that_drift_are_none_of_our_business() -> None:
    hands = Hands()
    clocks = hands.clocks()
    for _ in range(1000):
        hands.go_on(1.0)
        hands.day += 1e-3
        assert clocks.look() == ""
    assert clocks.notes == []
