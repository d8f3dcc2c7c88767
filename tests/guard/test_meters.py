"""A multimeter at an input that is switched off: what it shows counts beside the supply's own readings; in
virtual time.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from tests.guard.supplies import IDENTITY, FakeSupply, fed, supply_off, switched_off
from tests.said import says

from railwright.guard.input_end import InputEnd
from railwright.guard.off_plan import MeterOff, OffPlan

DECAY = 1.0


def play(
    reads: Callable[[float], str],
    *,
    hurry_at: float | None = None,
    holds: tuple[float, float] | None = None,
    watchdog: bool = False,
    **meter: Any,
) -> tuple[InputEnd, float, FakeSupply, list[dict[str, Any]]]:
    """The input's end, how long it took [s], the supply, and what was told of the meter."""
    left, volts = FakeSupply(), FakeSupply(reads=reads, **meter)
    document = MeterOff("volts", "a", "volts", "*IDN?", IDENTITY, "READ?", 0.5, of_value=0.01, offset=0.02)
    plan = OffPlan(
        (supply_off("left", watchdog=watchdog),),
        (fed("a", "left", holds=holds),),
        decay=DECAY,
        lost=2.0,
        meters=(document,),
    )
    again = OffPlan.from_json(plan.to_json())
    assert again == plan
    ends, took, told = switched_off(again, {"left": left, "volts": volts}, hurry_at=hurry_at)
    assert left.when("OFF 0")[0] == pytest.approx(0.0, abs=2e-3), "OFF waits for no multimeter"
    return ends["a"], took, left, [fields for _, what, fields in told if what == "meter"]


@pytest.mark.parametrize("shows", ["0", "-3E-4", "1.029", "-1.029"])
def test_what_it_may_show_of_nothing_confirms_off_within_the_time_of_the_closing_look(shows: str) -> None:
    """1 V counts as off, and it may be off by 1 % and 20 mV."""
    end, took, _, (told,) = play(lambda now: shows)
    assert (end.confirmed, end.why) == (True, "")
    assert took < 0.7
    assert (told["voltage"], told["against"], told["failed"]) == (float(shows), "", "")


@pytest.mark.parametrize(
    ("shows", "said"), [("1.04", "1.04 V"), ("-12", "-12 V"), ("9.9E37", "beyond its range")]
)
def test_a_voltage_that_stays_there_is_not_called_off(shows: str, said: str) -> None:
    end, took, left, (told,) = play(lambda now: shows, watchdog=True)
    assert not end.confirmed
    assert says(end.why, "off was read at the supply", "multimeter volts", said, "a")
    assert told["against"] == end.why
    assert DECAY < took < DECAY + 0.8
    assert left.watchdog == "1", "it is what is left"
    assert len(left.when("OFF 0")) == 2, "OFF goes out once more"


def test_a_voltage_that_goes_in_time_is_off() -> None:
    """From 12 V, divided by e each 0.4 s: 1 V after 0.994 s. The supply's own terminals are empty at once."""
    end, took, _, (told,) = play(lambda now: f"{12.0 * 2.718281828 ** (-now / 0.4):.6f}")
    assert end.confirmed
    assert told["voltage"] < 1.03
    assert took == pytest.approx(0.994, abs=0.06)


@pytest.mark.parametrize(("shows", "confirmed"), [("4.2", True), ("5.5", False)])
def test_what_the_device_itself_holds_is_no_contradiction(shows: str, confirmed: bool) -> None:
    end, _, _, _ = play(lambda now: shows, holds=(3.0, 4.2))
    assert end.confirmed is confirmed


def test_what_it_showed_counts_also_where_nothing_is_waited_for_any_longer() -> None:
    end, took, _, (told,) = play(lambda now: "12", hurry_at=0.4)
    assert took < 0.6
    assert not end.confirmed
    assert says(end.why, "volts", "12 V")
    assert told["against"] == end.why


@pytest.mark.parametrize(
    ("meter", "said"),
    [
        ({"silent": (0.05, 9e9)}, "no whole answer"),
        ({"gone": (0.1, 9e9)}, "closed"),
        ({"gone": (-1.0, 9e9)}, "closed"),
        ({"reads": lambda now: "?"}, "?"),
    ],
)
def test_one_that_gives_no_answer_is_said_and_holds_up_nothing(meter: dict[str, Any], said: str) -> None:
    reads = meter.pop("reads", lambda now: "0")
    end, took, _, (told,) = play(reads, **meter)
    assert end.confirmed
    assert took < 1.4
    assert says(told["failed"], said)


def test_one_at_an_input_that_is_not_switched_off_holds_up_nothing() -> None:
    left, volts = FakeSupply(), FakeSupply(reads=lambda now: "12")
    document = MeterOff("volts", "b", "volts", "*IDN?", IDENTITY, "READ?", 0.5)
    plan = OffPlan((supply_off("left"),), (fed("a", "left"),), decay=DECAY, meters=(document,))
    ends, took, told = switched_off(plan, {"left": left, "volts": volts})
    assert (ends["a"].confirmed, ends["a"].why) == (True, "")
    assert took < 0.7
    assert not [fields for _, what, fields in told if what == "meter"]
