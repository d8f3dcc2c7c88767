"""Switching off by itself, on supplies of a few lines, in virtual time: order, patience, and what is said."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import pytest
from tests.guard.supplies import (
    IDENTITY,
    FakeOutput,
    FakeSupply,
    fed,
    output,
    supply_off,
    switched_off,
)
from tests.said import says

from railwright.guard.input_end import InputEnd
from railwright.guard.off_plan import InputOff, OffPlan, OutputOff
from railwright.guard.off_supply import SupplySwitchedOff
from railwright.guard.session_settings import SessionCommand, SessionSettings

SETTLED = 0.25
"""What is off at once counts as confirmed after so long [s], and a look or two."""

CLOSING = 0.3
"""So long after it was confirmed it is looked at once more [s]."""


@dataclass
class Played:
    """A switching-off that is over. took: how long [s]. told: (when, what, fields)."""

    ends: dict[str, InputEnd]
    took: float
    told: list[tuple[float, str, dict[str, Any]]]

    def whats(self, what: str) -> list[float]:
        return [at for at, each, _ in self.told if each == what]


def play(
    inputs: tuple[InputOff, ...],
    *,
    orderly: bool = False,
    hurry_at: float | None = None,
    watchdog: bool = False,
    identity: str = IDENTITY,
    options: dict[str, Any] | None = None,
    pause: float = 0.0,
    **supplies: FakeSupply,
) -> Played:
    """Switch these inputs off."""
    offs = tuple(supply_off(name, identity, watchdog) for name in supplies)
    plan = OffPlan(offs, inputs, **(options or {}))
    return Played(*switched_off(plan, supplies, pause=pause, orderly=orderly, hurry_at=hurry_at))


def near(seconds: float) -> Any:
    return pytest.approx(seconds, abs=0.06)


def test_everything_goes_off_at_once_and_is_confirmed_after_a_quarter_of_a_second() -> None:
    left, right = FakeSupply(), FakeSupply()
    played = play((fed("a", "left"), fed("b", "right")), left=left, right=right)
    for supply in (left, right):
        assert supply.took[0][1] == "OFF 0"
        assert supply.when("OFF 0") == [pytest.approx(0.0, abs=1e-3)]
        assert not supply.outputs[0].on
    for end in played.ends.values():
        assert end.confirmed
        assert (end.why, end.voltage, end.current) == ("", 0.0, 0.0)
    confirmed = played.whats("confirmed off")
    assert all(SETTLED <= at < SETTLED + 0.05 for at in confirmed)
    assert len(confirmed) == 2
    assert SETTLED + CLOSING <= played.took < SETTLED + CLOSING + 0.1


def test_what_comes_after_another_waits_until_that_is_read_to_be_off() -> None:
    left, right = FakeSupply([FakeOutput(ignores=1)]), FakeSupply()
    played = play((fed("b", "right", after=("a",)), fed("a", "left")), left=left, right=right)
    assert left.outputs[0].went_off is not None
    went_off = left.outputs[0].went_off - left.began
    assert went_off == near(0.1)
    assert went_off < right.when("OFF 0")[0] < went_off + 0.05
    assert all(end.confirmed for end in played.ends.values())


@pytest.mark.parametrize("span", ["silent", "gone"])
def test_a_supply_that_gives_no_answer_is_waited_for_a_quarter_of_a_second(span: str) -> None:
    left, right, third = FakeSupply(**{span: (-1.0, 9e9)}), FakeSupply(), FakeSupply()
    played = play(
        (fed("a", "left"), fed("b", "right", after=("a",)), fed("c", "third")),
        options={"lost": 2.0},
        left=left,
        right=right,
        third=third,
    )
    assert third.when("OFF 0")[0] < 0.01
    assert right.when("OFF 0")[0] == near(0.25)
    assert played.ends["b"].confirmed
    assert not played.ends["a"].confirmed
    assert says(played.ends["a"].why, "left", "lost")


def test_in_a_chain_none_overtakes_the_one_before_it() -> None:
    """The first is silent; the last one in the document is the second to go."""
    left, right = FakeSupply(silent=(-1.0, 9e9)), FakeSupply([FakeOutput(), FakeOutput()])
    right.outputs[0].ignores = 1
    play(
        (fed("c", "right", 1, after=("b",)), fed("b", "right", 0, after=("a",)), fed("a", "left")),
        options={"lost": 1.5},
        left=left,
        right=right,
    )
    first, second = right.outputs
    assert first.went_off is not None
    assert second.went_off is not None
    assert first.went_off - right.began == near(0.35)
    assert first.went_off < second.went_off < first.went_off + 0.05


def test_several_inputs_of_one_silent_supply_hold_up_what_comes_after_them_no_longer_than_one() -> None:
    left, right = FakeSupply([FakeOutput(), FakeOutput()], silent=(-1.0, 9e9)), FakeSupply()
    inputs = (fed("a", "left"), fed("b", "left", 1, after=("a",)), fed("c", "right", after=("b",)))
    play(inputs, options={"lost": 1.5}, left=left, right=right)
    assert right.when("OFF 0")[0] == near(0.25)


def test_off_is_sent_again_every_tenth_of_a_second_until_the_state_says_off() -> None:
    left = FakeSupply([FakeOutput(ignores=3)])
    played = play((fed("a", "left"),), left=left)
    sent = left.when("OFF 0")
    assert len(sent) == 4
    assert all(0.1 <= later - sooner < 0.15 for sooner, later in pairwise(sent))
    assert len(played.whats("off again")) == 3
    assert played.ends["a"].confirmed
    assert played.whats("confirmed off") == [near(sent[-1] + SETTLED)]


def test_an_output_that_comes_on_again_is_switched_off_again_and_watched_anew() -> None:
    left = FakeSupply([FakeOutput(back=0.2)])
    played = play((fed("a", "left"),), left=left)
    first, second = left.when("OFF 0")
    assert second - first == near(0.2)
    assert not left.outputs[0].on
    assert played.ends["a"].confirmed
    assert played.whats("confirmed off") == [near(second + SETTLED)]


@pytest.mark.parametrize("after", [0.3, 0.45, 0.5])
@pytest.mark.parametrize("slow", [0.0, 0.04])
def test_one_that_comes_on_again_after_it_was_confirmed_is_seen_switched_off_again_and_told(
    after: float, slow: float
) -> None:
    """Until 0.3 s after a quarter of a second in which it was read to be off."""
    left, right = FakeSupply([FakeOutput(back=after)], slow=slow), FakeSupply()
    played = play((fed("a", "left"), fed("b", "right")), left=left, right=right)
    first, second = left.when("OFF 0")
    assert first == pytest.approx(slow, abs=1e-3), "no look stands before OFF"
    assert after < second - first < after + 0.05 + 3 * slow
    assert not left.outputs[0].on
    end, other = played.ends["a"], played.ends["b"]
    assert (end.confirmed, end.came_on, end.why) == (True, 1, "")
    assert (other.confirmed, other.came_on) == (True, 0)
    (told,) = [fields for _, what, fields in played.told if what == "came on again"]
    assert told["input"] == "a"
    assert says(told["why"], "left.0", "on")
    assert played.took == near(second + SETTLED + CLOSING + 2 * slow)


def test_one_that_comes_on_again_after_it_was_confirmed_and_stays_on_is_not_called_off() -> None:
    left = FakeSupply([FakeOutput(back=0.45, stuck=True)])
    played = play((fed("a", "left"),), options={"decay": 1.0}, left=left)
    end = played.ends["a"]
    assert (end.confirmed, end.came_on) == (False, 1)
    assert says(end.why, "left.0", "on")
    assert len(left.when("OFF 0")) > 5


def test_one_that_comes_on_again_each_time_is_not_called_off_and_not_waited_for_for_ever() -> None:
    left = FakeSupply([FakeOutput(back=0.45, again=True)])
    played = play((fed("a", "left"),), watchdog=True, left=left)
    end = played.ends["a"]
    assert not end.confirmed
    assert says(end.why, "again", "4 times")
    assert played.took < 5.0
    assert left.watchdog == "1", "it is what is left"


def test_one_whose_voltage_comes_again_although_it_says_off_is_not_called_off() -> None:
    output = FakeOutput(floor_later=(0.4, 12.0))
    played = play((fed("a", "left"),), options={"decay": 1.0}, left=FakeSupply([output]))
    end = played.ends["a"]
    assert (end.confirmed, end.came_on) == (False, 1)
    assert says(end.why, "says off", "12 V")


def test_a_closing_look_holds_up_nothing_that_waits_for_the_output_to_be_off() -> None:
    left, right = FakeSupply(), FakeSupply()
    inputs = (fed("gate", "left", only_after=("drain",)), fed("drain", "right"))
    played = play(inputs, left=left, right=right)
    assert right.when("OFF 0")[0] == pytest.approx(0.0, abs=1e-3)
    assert SETTLED <= left.when("OFF 0")[0] < SETTLED + 0.05
    assert all(end.confirmed for end in played.ends.values())
    assert 2 * SETTLED + CLOSING <= played.took < 2 * SETTLED + CLOSING + 0.12


def test_what_may_go_off_once_two_are_confirmed_waits_anew_where_one_comes_on_again() -> None:
    """The first comes on again while the second is waited for; the gate goes off behind both."""
    one, two, gate = FakeSupply([FakeOutput(back=0.5)]), FakeSupply([FakeOutput(ignores=4)]), FakeSupply()
    inputs = (fed("g", "gate", only_after=("a", "b")), fed("a", "one"), fed("b", "two"))
    played = play(inputs, one=one, two=two, gate=gate)
    assert all(end.confirmed for end in played.ends.values())
    assert gate.when("OFF 0")[0] >= one.when("OFF 0")[1] + SETTLED
    assert gate.when("OFF 0")[0] >= two.when("OFF 0")[-1] + SETTLED


def test_one_that_comes_on_again_and_stays_on_is_not_called_off() -> None:
    left = FakeSupply([FakeOutput(back=0.2, stuck=True)])
    end = play((fed("a", "left"),), options={"decay": 1.0}, left=left).ends["a"]
    assert (end.confirmed, end.off_read, end.fell) == (False, None, None)
    assert says(end.why, "left.0", "on")


def test_one_that_was_read_off_before_its_off_is_read_again_after_it() -> None:
    """The gate is off already, and its supply silent by the time at which it would be told."""
    left, right = FakeSupply([FakeOutput(on=False, voltage=0.0)], silent=(0.2, 9e9)), FakeSupply()
    inputs = (fed("gate", "left", only_after=("drain",)), fed("drain", "right"))
    played = play(inputs, options={"lost": 2.0}, left=left, right=right)
    assert not played.ends["gate"].confirmed


def test_one_that_was_off_before_counts_as_read_off_from_its_own_off_on() -> None:
    left, right = FakeSupply([FakeOutput(on=False, voltage=0.0)]), FakeSupply()
    inputs = (fed("gate", "left", only_after=("drain",)), fed("drain", "right"))
    end = play(inputs, left=left, right=right).ends["gate"]
    assert end.off_sent is not None
    assert end.off_read is not None
    assert end.off_read >= end.off_sent


@pytest.mark.parametrize("stuck", [False, True])
def test_one_that_comes_on_again_while_another_is_waited_for_is_not_called_off(stuck: bool) -> None:
    left, right = FakeSupply([FakeOutput(back=1.0, stuck=stuck)]), FakeSupply(gone=(-1.0, 9e9))
    inputs = (fed("a", "left"), fed("b", "right"))
    played = play(inputs, options={"lost": 2.0, "decay": 1.0}, left=left, right=right)
    assert left.outputs[0].on is stuck
    assert played.ends["a"].confirmed is not stuck


def test_one_that_is_lost_after_it_was_confirmed_stays_confirmed() -> None:
    left, right = FakeSupply(gone=(1.0, 9e9)), FakeSupply(gone=(-1.0, 9e9))
    played = play((fed("a", "left"), fed("b", "right")), options={"lost": 2.0}, left=left, right=right)
    assert played.ends["a"].confirmed


def test_one_that_never_goes_off_is_not_called_off() -> None:
    left = FakeSupply([FakeOutput(ignores=10_000)])
    played = play((fed("a", "left"),), options={"decay": 1.0}, left=left)
    end = played.ends["a"]
    assert not end.confirmed
    assert end.off_read is None
    assert says(end.why, "left.0", "on")
    assert end.voltage == 12.0
    assert 1.0 < played.took < 3.1


@pytest.mark.parametrize(
    ("output", "why"),
    [
        (FakeOutput(floor=5.0), "it says off, and 5 V stand there (1 V count as off)"),
        (FakeOutput(current=0.02), "left.0 says off, and 0.02 A flow"),
        (FakeOutput(current=-0.02), "left.0 says off, and -0.02 A flow"),
    ],
)
def test_a_state_that_says_off_is_not_enough(output: FakeOutput, why: str) -> None:
    played = play((fed("a", "left"),), options={"decay": 1.0}, left=FakeSupply([output]))
    end = played.ends["a"]
    assert (end.confirmed, end.why) == (False, why)
    assert end.off_read is not None
    assert played.took == near(1.0)


@pytest.mark.parametrize(
    ("stands", "confirmed", "holds"),
    [(3.7, True, 3.7), (4.8, True, 4.8), (0.4, True, None), (5.4, False, None)],
)
def test_a_voltage_that_the_device_holds_is_off_and_said(
    stands: float, confirmed: bool, holds: float | None
) -> None:
    left = FakeSupply([FakeOutput(floor=stands)])
    played = play((fed("a", "left", holds=(3.0, 4.2)),), options={"decay": 1.0}, left=left)
    end = played.ends["a"]
    assert (end.confirmed, end.holds) == (confirmed, holds)
    assert (end.fell is not None) == (stands == 0.4)


@pytest.mark.parametrize(("current", "confirmed"), [(-0.03, True), (-0.05, False), (0.03, False)])
def test_a_bleeder_takes_in_what_the_plan_says_and_no_more(current: float, confirmed: bool) -> None:
    left = FakeSupply([FakeOutput(current=current)])
    own = InputOff("a", (output("left", bleeds=0.03),), series=False, below=1.0)
    assert play((own,), options={"decay": 0.5}, left=left).ends["a"].confirmed is confirmed


def test_in_series_the_voltages_add_up() -> None:
    left = FakeSupply([FakeOutput(floor=0.7), FakeOutput(floor=0.7)])
    series = InputOff("a", (output("left"), output("left", 1)), series=True, below=1.0)
    beside = replace(series, series=False)
    assert not play((series,), options={"decay": 0.5}, left=left).ends["a"].confirmed
    left = FakeSupply([FakeOutput(floor=0.7), FakeOutput(floor=0.7)])
    assert play((beside,), options={"decay": 0.5}, left=left).ends["a"].confirmed


# Lost, and back


def test_a_supply_that_is_back_soon_hears_off_before_anything_else() -> None:
    left = FakeSupply(gone=(-1.0, 3.0))
    played = play((fed("a", "left"),), left=left)
    assert [message for _, message in left.took][:2] == ["OFF 0", "*IDN?"]
    assert left.when("OFF 0")[0] == pytest.approx(3.5, abs=0.6)
    assert played.ends["a"].confirmed
    assert len(played.whats("lost")) == len(played.whats("answers again")) == 1


@pytest.mark.parametrize("back", [0.8, 3.0, 9e9])
def test_off_counts_as_sent_from_when_there_is_a_connection_that_takes_it(back: float) -> None:
    """Before that nothing left, whatever was tried."""
    left, right = FakeSupply(gone=(-1.0, back)), FakeSupply()
    inputs = (fed("a", "left"), fed("b", "right"))
    played = play(inputs, options={"lost": 4.0}, left=left, right=right)
    sent = {name: end.off_sent for name, end in played.ends.items()}
    told = {fields["input"]: at for at, what, fields in played.told if what == "off sent"}
    assert told["b"] == pytest.approx(0.0, abs=2e-3)
    assert sent["b"] is not None
    if back > 100.0:
        assert (sent["a"], "a" in told, left.took) == (None, False, [])
        return
    assert sent["a"] is not None
    assert sent["a"] - left.began == pytest.approx(left.when("OFF 0")[0], abs=0.03)
    assert sent["a"] - left.began >= back


def test_of_two_outputs_off_counts_as_sent_when_it_left_for_both() -> None:
    left, right = FakeSupply(), FakeSupply(gone=(-1.0, 9e9))
    both = replace(fed("a", "left"), outputs=(output("left"), output("right")))
    played = play((both,), options={"lost": 1.0}, left=left, right=right)
    assert left.when("OFF 0")[0] < 0.01
    assert (played.ends["a"].off_sent, played.whats("off sent")) == (None, [])


def test_one_that_is_back_has_its_time_from_then_on() -> None:
    left = FakeSupply([FakeOutput(ignores=3)], gone=(0.0, 5.0))
    assert play((fed("a", "left"),), options={"decay": 1.0}, left=left).ends["a"].confirmed


def test_where_nobody_knows_who_it_was_whoever_answers_is_taken_for_it() -> None:
    left = FakeSupply(gone=(0.0, 1.0), identity="maker,model,2,0")
    assert play((fed("a", "left"),), identity="", left=left).ends["a"].confirmed


def test_a_supply_that_is_lost_and_back_for_ever_comes_to_an_end() -> None:
    left = FakeSupply(garbage=2)
    played = play((fed("a", "left"),), options={"lost": 2.0, "decay": 1.0}, left=left)
    assert not played.ends["a"].confirmed
    assert played.took == near(5.0)


def test_one_that_is_back_late_is_asked_who_it_is_first() -> None:
    left = FakeSupply(gone=(-1.0, 15.0))
    played = play((fed("a", "left"),), left=left)
    assert [message for _, message in left.took][:2] == ["*IDN?", "OFF 0"]
    assert played.ends["a"].confirmed


def test_another_instrument_at_its_address_is_told_nothing_and_passes_for_nothing() -> None:
    left = FakeSupply(gone=(-1.0, 15.0), identity="maker,model,2,0")
    played = play((fed("a", "left"),), options={"lost": 20.0}, left=left)
    assert {message for _, message in left.took} == {"*IDN?"}
    assert not played.ends["a"].confirmed
    assert says(played.ends["a"].why, "maker,model,2,0")


def test_a_lost_supply_is_waited_for_as_long_as_the_plan_says() -> None:
    played = play((fed("a", "left"),), options={"lost": 4.0}, left=FakeSupply(gone=(-1.0, 9e9)))
    assert not played.ends["a"].confirmed
    assert played.took == near(4.0)


@pytest.mark.parametrize("voltage", [float("nan"), float("inf"), 9.91e37, 9.9e37])
def test_answers_that_do_not_fit_are_no_reading(voltage: float) -> None:
    """Not a number, and infinity, as Python and as SCPI-1999 (vol. 1, 7.2.1) write them."""
    left = FakeSupply()
    left.outputs[0].voltage, left.outputs[0].floor = voltage, voltage
    played = play((fed("a", "left"),), options={"lost": 1.5}, left=left)
    assert not played.ends["a"].confirmed
    assert f"'{voltage}'" in played.ends["a"].why
    assert len(left.lines) > 2, "it is not reached anew"


# What waits for a confirmation, and what stays on


def test_what_is_held_on_for_another_goes_off_when_that_is_confirmed() -> None:
    left, right = FakeSupply(), FakeSupply([FakeOutput(floor=0.0)])
    drain, gate = fed("drain", "right"), fed("gate", "left", after=("drain",), only_after=("drain",))
    played = play((gate, drain), left=left, right=right)
    ((confirmed, _),) = [
        (at, 0) for at, what, f in played.told if (what, f.get("input")) == ("confirmed off", "drain")
    ]
    assert confirmed == near(SETTLED)
    assert confirmed <= left.when("OFF 0")[0] < confirmed + 0.05
    assert all(end.confirmed for end in played.ends.values())


def test_what_is_held_on_for_another_stays_on_where_that_is_not_confirmed() -> None:
    left, right = FakeSupply(), FakeSupply([FakeOutput(floor=5.0)])
    drain, gate = fed("drain", "right"), fed("gate", "left", after=("drain",), only_after=("drain",))
    played = play((gate, drain), options={"decay": 1.0}, left=left, right=right)
    end = played.ends["gate"]
    assert left.outputs[0].on
    assert left.when("OFF 0") == []
    assert (end.confirmed, end.kept_on, end.off_sent) == (False, True, None)
    assert says(end.why, "drain")
    assert len(played.whats("stays on")) == 1


def test_what_comes_after_one_that_is_held_on_waits_for_it_while_all_goes_well() -> None:
    left, right = FakeSupply([FakeOutput(), FakeOutput()]), FakeSupply()
    gate = fed("gate", "left", after=("drain",), only_after=("drain",))
    last = fed("last", "left", 1, after=("gate",))
    played = play((last, gate, fed("drain", "right")), left=left, right=right)
    assert left.when("OFF 0")[0] == near(SETTLED)
    assert left.when("OFF 1")[0] > left.when("OFF 0")[0]
    assert all(end.confirmed for end in played.ends.values())


def test_what_comes_after_one_that_is_held_on_for_a_dead_supply_does_not_wait_for_that() -> None:
    left, right = FakeSupply([FakeOutput(), FakeOutput()]), FakeSupply(silent=(-1.0, 9e9))
    gate = fed("gate", "left", after=("drain",), only_after=("drain",))
    last = fed("last", "left", 1, after=("gate",))
    played = play((last, gate, fed("drain", "right")), options={"lost": 3.0}, left=left, right=right)
    assert left.when("OFF 0") == []
    assert 0.2 < left.when("OFF 1")[0] < 0.6
    assert played.ends["last"].confirmed


def test_what_stays_on_is_told_nothing_and_holds_nobody_up() -> None:
    left, right = FakeSupply(), FakeSupply()
    fan = fed("fan", "left", stays_on="cools the heat sink")
    played = play((fan, fed("a", "right", after=("fan",))), left=left, right=right)
    assert left.outputs[0].on
    assert left.when("OFF 0") == []
    assert right.when("OFF 0")[0] < 0.01
    end = played.ends["fan"]
    assert (end.confirmed, end.kept_on, end.stays_on) == (False, True, "cools the heat sink")
    assert played.ends["a"].confirmed


def test_what_waits_for_one_that_stays_on_stays_on_too_and_the_end_comes() -> None:
    left, right = FakeSupply(), FakeSupply()
    drain = fed("drain", "right", stays_on="the operator wants it so")
    gate = fed("gate", "left", after=("drain",), only_after=("drain",))
    played = play((gate, drain), left=left, right=right)
    assert left.outputs[0].on
    assert says(played.ends["gate"].why, "drain")
    assert played.took < 0.1


# Led down first


def voltages(supply: FakeSupply) -> list[tuple[float, float]]:
    return [(at, float(message.split()[2])) for at, message in supply.took if message.startswith("VOLT")]


def test_an_orderly_ending_leads_the_voltage_down_first() -> None:
    left = FakeSupply()
    played = play((fed("a", "left", ramp_down=0.4),), orderly=True, left=left)
    stairs = voltages(left)
    assert len(stairs) == 20
    assert [voltage for _, voltage in stairs] == pytest.approx([12.0 * (1 - n / 20) for n in range(1, 21)])
    (off,) = left.when("OFF 0")
    assert off == near(0.4)
    assert all(at < off for at, _ in stairs)
    assert played.ends["a"].confirmed


def test_any_other_ending_leads_nothing_down() -> None:
    left = FakeSupply()
    play((fed("a", "left", ramp_down=0.4),), left=left)
    assert voltages(left) == []
    assert left.when("OFF 0")[0] < 0.01


def test_one_that_cannot_be_read_is_not_led_down() -> None:
    left = FakeSupply(silent=(-1.0, 9e9))
    played = play((fed("a", "left", ramp_down=5.0),), orderly=True, options={"lost": 1.5}, left=left)
    assert played.whats("off sent") == [near(0.25)]


def test_one_that_is_lost_while_it_is_led_down_goes_off_at_once() -> None:
    left = FakeSupply(gone=(0.5, 0.9))
    played = play((fed("a", "left", ramp_down=5.0),), orderly=True, options={"lost": 1.5}, left=left)
    assert played.whats("lost") == [near(0.5)]
    assert 0.9 < left.when("OFF 0")[0] < 1.5
    assert max(at for at, _ in voltages(left)) < 0.5


@pytest.mark.parametrize("pause", [0.0, 0.03, 0.05, 0.1])
@pytest.mark.parametrize("at", [0.11, 0.125, 0.15, 0.171, 0.2, 0.233])
def test_no_stair_follows_off(pause: float, at: float) -> None:
    """A supply that wants a pause, and takes what comes sooner: a stair that waited went out after OFF."""
    left = FakeSupply()
    play((fed("a", "left", ramp_down=5.0),), orderly=True, hurry_at=at, pause=pause, left=left)
    stairs, off = voltages(left), left.when("OFF 0")
    assert stairs
    assert off[0] == pytest.approx(at, abs=0.02)
    assert all(told < off[0] for told, _ in stairs)
    assert all(then - before >= 0.99 * pause for (before, _), (then, _) in pairwise(stairs))


def test_what_comes_after_one_that_is_led_down_waits_for_its_off() -> None:
    left, right = FakeSupply(), FakeSupply()
    inputs = (fed("b", "right", after=("a",)), fed("a", "left", ramp_down=1.0))
    play(inputs, orderly=True, left=left, right=right)
    (first,), (second,) = left.when("OFF 0"), right.when("OFF 0")
    assert first == near(1.0)
    assert first < second < first + 0.05


# In a hurry


def test_a_hurry_ends_every_wait_and_what_is_not_confirmed_stays_so() -> None:
    left, right, third = FakeSupply([FakeOutput(floor=5.0)]), FakeSupply(), FakeSupply()
    played = play(
        (
            fed("a", "left"),
            fed("gate", "right", after=("a",), only_after=("a",)),
            fed("b", "third", ramp_down=5.0),
        ),
        orderly=True,
        hurry_at=0.5,
        left=left,
        right=right,
        third=third,
    )
    assert played.took == near(0.5)
    assert not played.ends["a"].confirmed
    assert played.ends["gate"].kept_on
    assert right.when("OFF 0") == []
    assert third.when("OFF 0") == [near(0.5)]
    assert len(voltages(third)) < 30


def test_a_hurry_from_the_beginning_leaves_neither_a_gate_on_nor_anything_unread() -> None:
    left, right, third = FakeSupply(), FakeSupply(), FakeSupply()
    gate = fed("gate", "left", after=("drain",), only_after=("drain",))
    inputs = (gate, fed("drain", "right"), fed("b", "third"))
    played = play(inputs, hurry_at=0.0, left=left, right=right, third=third)
    assert all(end.confirmed for end in played.ends.values())
    assert left.when("OFF 0")[0] > right.when("OFF 0")[0]
    assert played.took < 0.2


# Whatever else


def test_a_fault_of_the_program_with_one_input_leaves_no_output_on() -> None:
    left, right = FakeSupply(), FakeSupply()
    spoilt = replace(fed("a", "left"), only_after=(["no name"],))  # type: ignore[arg-type]
    played = play((spoilt, fed("b", "right", after=("a",))), left=left, right=right)
    assert not left.outputs[0].on
    assert not right.outputs[0].on
    assert says(played.ends["a"].why, "TypeError")
    assert (played.ends["a"].confirmed, played.ends["b"].confirmed) == (False, True)


@pytest.mark.parametrize("beside", [0, 1])
@pytest.mark.parametrize("outputs", [1, 2])
@pytest.mark.parametrize("fault", [0, 1])
def test_off_that_a_fault_of_the_program_kept_back_goes_out_all_the_same(
    fault: int, outputs: int, beside: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One input of one or two outputs, alone or beside another; the first or the second OFF is not sent."""
    before, faults = SupplySwitchedOff.push, [True]
    if fault:
        faults.insert(0, False)
    kept_back = iter(faults)

    def push(self: SupplySwitchedOff, output: OutputOff) -> None:
        if next(kept_back, False):
            raise ValueError("no message")
        before(self, output)

    monkeypatch.setattr(SupplySwitchedOff, "push", push)
    left, right = FakeSupply([FakeOutput(), FakeOutput()]), FakeSupply()
    inputs = (replace(fed("a", "left"), outputs=tuple(output("left", each) for each in range(outputs))),)
    inputs += (fed("b", "right"),) * beside
    supplies = {"left": left, **({"right": right} if beside else {})}
    played = play(inputs, **supplies)
    assert not any(each.on for each in left.outputs[:outputs])
    assert not (beside and right.outputs[0].on)
    assert left.when("OFF 0")[0] < 0.2
    if fault < outputs + beside:
        assert any(says(end.why, "ValueError") and not end.confirmed for end in played.ends.values())
    else:
        assert all(end.confirmed for end in played.ends.values())


@pytest.mark.parametrize(("floor", "state"), [(0.0, "0"), (5.0, "1")])
def test_a_watchdog_goes_off_when_everything_of_its_supply_has(floor: float, state: str) -> None:
    left = FakeSupply([FakeOutput(), FakeOutput(floor=floor)])
    inputs = (fed("a", "left"), fed("b", "left", 1))
    played = play(inputs, watchdog=True, options={"decay": 0.5}, left=left)
    ((_, fields),) = [(at, fields) for at, what, fields in played.told if what == "watchdog"]
    assert left.watchdog == state
    assert fields["off"] is (state == "0")
    assert fields["why"] == ("" if state == "0" else "b: not confirmed off")


def test_a_watchdog_goes_off_where_an_output_has_to_stay_on() -> None:
    left, right = FakeSupply(), FakeSupply([FakeOutput(floor=5.0)])
    inputs = (fed("gate", "left", only_after=("drain",)), fed("drain", "right"))
    play(inputs, watchdog=True, options={"decay": 0.5}, left=left, right=right)
    assert (left.watchdog, right.watchdog) == ("0", "1")


def test_a_slow_supply_is_confirmed_by_what_was_asked_after_off_only() -> None:
    left = FakeSupply([FakeOutput(ignores=1)], slow=0.05)
    played = play((fed("a", "left"),), left=left)
    end = played.ends["a"]
    assert end.confirmed
    assert end.off_sent is not None
    assert end.off_read is not None
    assert left.outputs[0].went_off is not None
    assert end.off_read >= end.off_sent
    assert played.took > left.outputs[0].went_off - left.began + SETTLED - 0.05


@pytest.mark.parametrize("slow", [0.4, 0.8])
def test_a_supply_that_takes_its_time_for_each_message_is_confirmed(slow: float) -> None:
    """OFF and a question together take it longer than an exchange is given at first."""
    left = FakeSupply(slow=slow)
    played = play((fed("a", "left"),), left=left)
    assert played.ends["a"].confirmed
    assert left.outputs[0].went_off is not None
    assert left.outputs[0].went_off - left.began == near(slow)
    assert played.took < 10.0


@pytest.mark.parametrize("slow", [0.0, 0.003, 0.02])
@pytest.mark.parametrize("wants", [0.02, 0.03, 0.1])
@pytest.mark.parametrize("outputs", [1, 2, 3])
def test_a_supply_that_takes_nothing_too_soon_gets_off_again_when_it_listens(
    outputs: int, wants: float, slow: float
) -> None:
    """OFF goes out at once, and of several only the first is taken; the rest never was, as it was sent again
    right after a look's answer, in the same phase each time.
    """
    left = FakeSupply([FakeOutput() for _ in range(outputs)], wants=wants, slow=slow)
    inputs = tuple(fed(name, "left", number) for number, name in enumerate("abc"[:outputs]))
    left.spoke = 1e-6  # an answer of the run's last reading came just before
    played = play(inputs, pause=1.1 * wants + 2.0 * slow, left=left)
    assert not any(each.on for each in left.outputs)
    assert all(end.confirmed for end in played.ends.values())
    assert played.took < 1.0 + 20.0 * wants


@pytest.mark.parametrize("pause", [0.05, 0.09, 0.15, 0.24])
@pytest.mark.parametrize("ignores", [1, 2, 3])
def test_off_goes_on_while_another_input_of_the_supply_gets_its_own(pause: float, ignores: int) -> None:
    """While it is waited for the pause before OFF again, the next in the order is wanted off, too."""
    left = FakeSupply([FakeOutput(ignores=ignores), FakeOutput(ignores=ignores), FakeOutput(ignores=ignores)])
    inputs = (
        fed("a", "left", 0),
        fed("b", "left", 1, after=("a",)),
        fed("c", "left", 2, after=("a", "b")),
    )
    played = play(inputs, options={"decay": 4.0}, pause=pause, left=left)
    assert not any(each.on for each in left.outputs)
    assert all(end.confirmed for end in played.ends.values())


def test_a_fault_of_the_program_with_one_supply_does_not_end_what_is_done_for_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """OFF is sent again, and looked at, all the same."""
    faults = iter([True, True])
    before = SupplySwitchedOff._look

    async def look(self: SupplySwitchedOff) -> None:
        if next(faults, False):
            raise RuntimeError("dictionary changed size during iteration")
        await before(self)

    monkeypatch.setattr(SupplySwitchedOff, "_look", look)
    left = FakeSupply([FakeOutput(ignores=2)])
    played = play((fed("a", "left"),), left=left)
    assert not left.outputs[0].on
    assert played.ends["a"].confirmed
    assert any("fault of the program" in fields["why"] for _, what, fields in played.told if what == "lost")


@pytest.mark.parametrize("mute", [False, True])
@pytest.mark.parametrize("other", [False, True])
def test_one_that_is_not_trusted_any_more_says_who_it_is_before_it_is_told_anything(
    mute: bool, other: bool
) -> None:
    """It is gone for 12 s. Another that answers there is told nothing; where nothing answers a question, what
    a session begins with goes first, and a stranger then hears what ends one, too.
    """
    left = FakeSupply(gone=(0.0, 12.0), mute=mute, other_at=11.0 if other else 99.0)
    spoken = SessionSettings(
        opening=(SessionCommand("SYSTem:REMote"),), closing=(SessionCommand("SYSTem:LOCal"),)
    )
    plan = OffPlan((replace(supply_off("left"), session_settings=spoken),), (fed("a", "left"),), lost=20.0)
    ends, _, _ = switched_off(plan, {"left": left}, spoken=spoken)
    later = [message for at, message in left.took if at > 11.0]
    assert ends["a"].confirmed is not other
    assert later[0] == "*IDN?"
    if other:
        assert "OFF 0" not in later
        assert ("SYSTem:REMote" in later) is mute
        assert later.count("SYSTem:REMote") == later.count("SYSTem:LOCal")
    else:
        assert "OFF 0" in later


@pytest.mark.parametrize("opening", [(), (SessionCommand("SYSTem:REMote"),)])
@pytest.mark.parametrize("pause", [0.0, 0.02])
@pytest.mark.parametrize(("boots", "gone"), [(0.5, 1.0), (2.0, 1.0), (2.0, 5.0)])
def test_a_supply_that_comes_on_by_itself_after_its_boot_is_off_soon_after(
    opening: tuple[SessionCommand, ...], pause: float, boots: float, gone: float
) -> None:
    """Its mains failed: it connects, takes nothing while it boots, and is then on as it was. OFF is sent all
    the while, and not once it has booted: it was on for a second and more.
    """
    left = FakeSupply(gone=(0.0, gone), back=boots, wants=0.9 * pause)
    spoken = SessionSettings(pause=pause, boot=boots + 0.3, opening=opening)
    plan = OffPlan((replace(supply_off("left"), session_settings=spoken),), (fed("a", "left"),), lost=20.0)
    ends, _, _ = switched_off(plan, {"left": left}, spoken=spoken)
    assert ends["a"].confirmed
    went_off = left.outputs[0].went_off
    assert went_off is not None
    assert went_off - left.began < gone + boots + 0.1 + 3 * pause + 0.01


@pytest.mark.parametrize("pause", [0.01, 0.05])
@pytest.mark.parametrize("outputs", [2, 3])
@pytest.mark.parametrize("gone", [0.0, 1.0])
def test_a_supply_that_loses_what_comes_too_soon_takes_every_off(
    pause: float, outputs: int, gone: float
) -> None:
    """Its outputs are told one after the other, over the session that is there and over a new one: in a burst
    it took the first alone, each time.
    """
    left = FakeSupply([FakeOutput() for _ in range(outputs)], gone=(0.0, gone), wants=0.9 * pause)
    plan = OffPlan((supply_off("left"),), tuple(fed(f"i{n}", "left", n) for n in range(outputs)), lost=20.0)
    ends, _, _ = switched_off(plan, {"left": left}, pause=pause)
    assert all(each.confirmed for each in ends.values())
    reached = min(at for at, _ in left.took)
    for number, each in enumerate(left.outputs):
        assert each.went_off is not None
        assert each.went_off - left.began < reached + (number + 2) * pause + 0.01


@pytest.mark.parametrize("pause", [0.05, 1.0])
def test_off_waits_for_no_pause_that_a_supply_does_not_need(pause: float) -> None:
    """It is asked for in the dialect, and the supply takes what comes sooner."""
    left = FakeSupply([FakeOutput() for _ in range(3)])
    plan = OffPlan((supply_off("left"),), tuple(fed(f"i{n}", "left", n) for n in range(3)), lost=20.0)
    spoken = SessionSettings(pause=pause, opening=(SessionCommand("SYSTem:REMote"),))
    _, _, _ = switched_off(plan, {"left": left}, spoken=spoken)
    assert all(each.went_off is not None and each.went_off - left.began < 0.01 for each in left.outputs)


def test_off_again_says_whether_it_was_read_to_be_on() -> None:
    played = play((fed("a", "left"),), left=FakeSupply([FakeOutput(ignores=2)]))
    told = [fields["read"] for _, what, fields in played.told if what == "off again"]
    assert told == [True, True]
    silent = play((fed("a", "left"),), left=FakeSupply(silent=(0.0, 0.35)))
    told = [fields["read"] for _, what, fields in silent.told if what == "off again"]
    assert not any(told)
