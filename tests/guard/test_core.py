"""The guard between a run and its supplies, in virtual time: the fence, what is sent when, signs of life."""

from __future__ import annotations

import asyncio
from itertools import pairwise
from typing import Any

import pytest
from tests.guard.supplies import FakeOutput, FakeSupply, fed, network, supply_off
from tests.said import figures, says

from railwright.guard.core import GOODBYE
from railwright.guard.link import Answerless
from railwright.guard.local_link import LocalLink
from railwright.guard.off import SwitchOff
from railwright.guard.off_plan import OffPlan
from railwright.virtual_time import VirtualLoop


def armed(left: FakeSupply, **more: Any) -> LocalLink:
    """A guard that is to switch off the input of one supply."""
    loop = VirtualLoop()
    link = LocalLink(loop, network(loop, {"left": left}))
    link.open("left", "left", "*IDN?", 1.0)
    left.began = loop.time()
    link.arm(OffPlan((supply_off("left"),), (fed("main", "left", **more),), decay=1.0, lost=2.0))
    return link


def finish(link: LocalLink) -> dict[str, Any]:
    return link.finish_off(lambda message: None)


def whats(link: LocalLink) -> list[str]:
    return [message["kind"] for message in link.told]


def test_after_off_nothing_of_the_run_reaches_a_supply() -> None:
    left = FakeSupply()
    link = armed(left)
    link.begin_off("the end")
    with pytest.raises(Answerless, match="the end") as caught:
        link.exchange("left", "VOLT 0 5", 1.0, answers=False)
    assert caught.value.fenced
    link.poll("left", "readings", ["*IDN?"], start=link.now(), every=0.01, deadline=1.0)
    assert finish(link)["ends"]["main"]["confirmed"]
    with pytest.raises(Answerless, match="the end"):
        link.exchange("left", "VOLT 0 5", 1.0, answers=False)
    assert {message for _, message in left.took} == {"*IDN?", "OFF 0", "LOOK?"}
    assert len(left.when("*IDN?")) == 1


def test_what_is_under_way_at_off_is_given_up_and_never_sent() -> None:
    left = FakeSupply()
    link = armed(left)
    link.loop.call_later(0.2, link.guard.switch_off, "somebody else")
    with pytest.raises(Answerless, match="somebody else") as caught:
        link.exchange("left", "VOLT 0 5", 1.0, answers=False, at=link.now() + 0.5)
    assert caught.value.fenced
    assert link.now() - left.began == pytest.approx(0.2, abs=0.01)
    link.sleep(1.0)
    assert "VOLT 0 5" not in [message for _, message in left.took]


def test_polls_end_with_off() -> None:
    left = FakeSupply()
    link = armed(left)
    link.poll("left", "readings", ["*IDN?"], start=link.now(), every=0.01, deadline=1.0)
    link.sleep(0.1)
    link.begin_off("the end")
    finish(link)
    assert len(left.when("*IDN?")) > 5
    assert left.when("*IDN?")[-1] < 0.12


def test_off_is_begun_once() -> None:
    left = FakeSupply()
    link = armed(left)
    link.begin_off("the end")
    link.begin_off("the end, again")
    link.guard.switch_off("somebody else")
    finish(link)
    assert whats(link).count("off begun") == whats(link).count("off over") == 1
    assert link.guard.fenced == "the end"


def test_a_message_leaves_at_its_instant() -> None:
    left = FakeSupply()
    link = armed(left)
    link.poll("left", "readings", ["LOOK?"], start=link.now(), every=0.001, deadline=1.0)
    due = link.now() + 0.3
    answer = link.exchange("left", "VOLT 0 5", 1.0, answers=False, at=due)
    assert answer["sent"] == pytest.approx(due, abs=1e-6)
    link.sleep(0.01)
    assert left.when("VOLT 0 5") == [pytest.approx(due - left.began, abs=2e-4)]


def test_readings_that_a_slow_supply_cannot_give_are_left_out_and_the_grid_stays() -> None:
    left = FakeSupply(slow=0.25)
    link = armed(left)
    start = link.now()
    link.poll("left", "readings", ["LOOK?"], start=start, every=0.1, deadline=1.0)
    link.sleep(2.0)
    polls = [message for message in link.inbox if message["kind"] == "poll"]
    assert len(polls) == 7
    for sooner, later in pairwise(polls):
        assert later["turn"] - sooner["turn"] in (2, 3)
        assert 0.0 <= later["sent"] - (start + 0.1 * later["turn"]) < 0.1


def test_a_second_request_ends_the_waiting() -> None:
    left = FakeSupply([FakeOutput(floor=5.0)])
    link = armed(left)
    began = link.now()
    link.begin_off("the end")
    over = link.finish_off(lambda message: None, urgent=lambda: link.now() - began > 0.3)
    assert not over["ends"]["main"]["confirmed"]
    assert link.now() - began < 0.5


@pytest.mark.parametrize(
    ("floor", "stays_on", "off"), [(0.0, "", True), (5.0, "", False), (5.0, "why", True)]
)
def test_it_is_all_off_when_all_is_confirmed_that_is_to_go_off(
    floor: float, stays_on: str, off: bool
) -> None:
    link = armed(FakeSupply([FakeOutput(floor=floor)]), stays_on=stays_on)
    assert not link.guard.is_all_off
    link.begin_off("the end")
    finish(link)
    assert link.guard.is_all_off is off


def test_a_run_that_gives_no_sign_of_life_is_fenced_within_a_second() -> None:
    left = FakeSupply()
    link = armed(left)
    link.watch()
    link.sleep(0.5)
    link.loop.complete(asyncio.sleep(2.0))
    assert says(link.guard.fenced, "1 s")
    assert left.when("OFF 0") == [pytest.approx(1.6, abs=0.11)]


def test_one_that_waits_is_not() -> None:
    left = FakeSupply()
    link = armed(left)
    link.watch()
    for _ in range(40):
        link.sleep(0.2)
    assert link.guard.fenced == ""
    assert left.when("OFF 0") == []


def test_a_run_that_hangs_after_everything_is_off_is_told_to_have_died() -> None:
    link = armed(FakeSupply())
    died: list[str] = []
    watching = link.loop.create_task(link.guard.watch_beat(died.append))
    link.begin_off("the end")
    finish(link)
    link.loop.complete(asyncio.sleep(GOODBYE - 0.5))
    assert died == []
    link.loop.complete(asyncio.sleep(1.0))
    assert [figures(why) for why in died] == [["5 s"]]
    assert watching.done()


def test_a_fault_in_switching_off_is_told_as_an_end_that_confirms_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    async def fail(self: SwitchOff, **options: Any) -> Any:
        await asyncio.sleep(0.1)
        raise RuntimeError("whatever")

    monkeypatch.setattr(SwitchOff, "go", fail)
    link = armed(FakeSupply())
    link.begin_off("the end")
    over = link.finish_off(lambda message: None)
    assert not over["ends"]["main"]["confirmed"]
    assert says(over["ends"]["main"]["why"], "whatever")
    link.close()
