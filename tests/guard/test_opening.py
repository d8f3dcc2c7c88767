"""What a session begins and ends with: said before the first question and after the last, and OFF goes out
whatever comes of it; in virtual time.
"""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
from tests.instruments.terse_supply import TerseSupply
from tests.said import says

from railwright.guard.link import Answerless
from railwright.guard.local_link import LocalLink
from railwright.guard.off import SwitchOff
from railwright.guard.off_plan import InputOff, OffPlan, OutputOff, SupplyOff
from railwright.guard.session import Session
from railwright.guard.session_settings import SessionCommand, SessionSettings, settings_from
from railwright.virtual_time import VirtualLoop, memory_streams

REMOTE = SessionCommand("REMote")
SPOKEN = SessionSettings(opening=(REMOTE, SessionCommand("REMote?", "1")), closing=(SessionCommand("LOCal"),))


def network(loop: VirtualLoop, supply: TerseSupply) -> Any:
    supply.clock = loop.time

    async def connect(_address: str, _session_settings: SessionSettings) -> Any:
        near, far = memory_streams(loop)
        loop.create_task(supply.serve(*far))
        return near

    return connect


def messages(supply: TerseSupply) -> list[str]:
    return [text for _, text in supply.took]


def test_a_session_begins_before_the_first_question_and_ends_after_the_last() -> None:
    loop, supply = VirtualLoop(), TerseSupply()
    link = LocalLink(loop, network(loop, supply))
    answer = link.open("left", "left", "*IDN?", 1.0, SPOKEN)
    assert messages(supply) == ["REMote", "REMote?", "*IDN?"]
    assert [each[:2] for each in answer["opening"]] == [["REMote", ""], ["REMote?", "1"]]
    assert supply.remote
    link.exchange("left", "VSET 5", 1.0, answers=False)
    link.exchange("left", "*IDN?", 1.0)
    link.close()
    loop.complete(asyncio.sleep(0.01))
    assert messages(supply)[-1] == "LOCal"
    assert not supply.remote


@pytest.mark.parametrize("answer", ["2", "REM", "on"])
def test_an_answer_other_than_the_one_that_is_wanted_is_no_session(answer: str) -> None:
    loop, supply = VirtualLoop(), TerseSupply()
    link = LocalLink(loop, network(loop, supply))
    spoken = SessionSettings(opening=(REMOTE, SessionCommand("REMote?", answer)))
    with pytest.raises(Answerless) as caught:
        link.open("left", "left", "*IDN?", 1.0, spoken)
    assert says(str(caught.value), "'1'", "REMote?", answer)
    assert "*IDN?" not in messages(supply)


@pytest.mark.parametrize("boots", [0.05, 0.4, 2.0])
def test_a_supply_that_boots_is_told_nothing_before(boots: float) -> None:
    """Without the entry its first question is lost: the session has no answer."""
    loop, supply = VirtualLoop(), TerseSupply(boots=boots)
    link = LocalLink(loop, network(loop, supply))
    began = loop.time()
    link.open("left", "left", "*IDN?", 0.5, SessionSettings(opening=(REMOTE,), boot=boots + 0.01))
    assert messages(supply) == ["REMote", "*IDN?"]
    assert supply.took[0][0] - began == pytest.approx(boots + 0.01, abs=2e-3)
    bare = LocalLink(loop, network(loop, supply))
    with pytest.raises(Answerless):
        bare.open("left", "left", "*IDN?", 0.04)


def test_settings_come_back_from_json_as_they_were() -> None:
    import json
    from dataclasses import asdict

    assert settings_from(json.loads(json.dumps(asdict(SPOKEN)))) == SPOKEN


PLAN = OffPlan(
    (SupplyOff("left", "left", "*IDN?", "", ("OUT?", "READ?"), session_settings=SPOKEN),),
    (
        InputOff(
            "a",
            (OutputOff("left.1", "left", ("OUT 0",), (0, 0), (1, 0), (1, 1), 0.01),),
            series=False,
            below=1.0,
        ),
    ),
    decay=2.0,
    lost=2.0,
)


def off_by_a_new_session(supply: TerseSupply, spoken: SessionSettings = SPOKEN) -> tuple[bool, float, float]:
    """As `railwright off` does: whether it is confirmed, when OFF worked and when all was over [s]."""
    loop = VirtualLoop()
    connect = network(loop, supply)
    supply.outputs["LEFT"].on = True
    worked: list[float] = []

    def heard(_message: str) -> None:
        loop.call_soon(lambda: None if supply.outputs["LEFT"].on else worked.append(loop.time()))

    supply.on_take = heard

    async def go() -> tuple[bool, float, float]:
        began = loop.time()
        session = Session("left", "left", connect, spoken)
        ends = await SwitchOff(PLAN, {"left": session}, lambda what, fields: None).go()
        took = loop.time() - began
        await session.end()
        await asyncio.sleep(0.01)
        return ends["a"].confirmed, worked[0] - began if worked else float("inf"), took

    return loop.complete(go())


@pytest.mark.parametrize(
    ("supply", "within"),
    [
        (TerseSupply(), 0.01),
        (TerseSupply(takes_off_while_local=True), 0.01),
        (TerseSupply(refuses_remote=True, takes_off_while_local=True), 0.01),
        (TerseSupply(hangs_up=True, takes_off_while_local=True), 0.01),
        (TerseSupply(remote=True, refuses_remote=True), 0.01),
    ],
)
def test_off_goes_out_at_once_whatever_comes_of_what_a_session_begins_with(
    supply: TerseSupply, within: float
) -> None:
    confirmed, worked, _ = off_by_a_new_session(supply)
    assert worked < within
    assert not supply.outputs["LEFT"].on
    # One that hangs up each time is never read: then nothing says that it is off.
    assert confirmed is not supply.hangs_up
    if not supply.hangs_up:
        assert messages(supply)[-1] == "LOCal"


@pytest.mark.parametrize("wants", [0.01, 0.05])
@pytest.mark.parametrize("boot", [0.0, 0.3])
def test_off_reaches_a_supply_that_takes_nothing_too_soon_and_only_when_remote(
    wants: float, boot: float
) -> None:
    spoken = SessionSettings(
        pause=1.1 * wants, boot=boot and boot + 0.01, opening=SPOKEN.opening, closing=SPOKEN.closing
    )
    confirmed, worked, took = off_by_a_new_session(TerseSupply(wants=wants, boots=boot), spoken)
    assert confirmed
    # What goes out at once, too soon for this supply, costs one pause more.
    assert worked < boot + 5 * wants + 0.02
    assert took < boot + 1.5


def test_off_of_a_supply_that_stays_local_is_not_called_off() -> None:
    supply = TerseSupply(refuses_remote=True)
    confirmed, _, _ = off_by_a_new_session(supply)
    assert supply.outputs["LEFT"].on
    assert not confirmed


def test_a_session_that_does_not_end_well_ends_in_time() -> None:
    """One that no longer listens: the guard does not wait for it."""
    loop, supply = VirtualLoop(), TerseSupply()
    link = LocalLink(loop, network(loop, supply))
    spoken = SessionSettings(closing=(SessionCommand("NOTHING?"), SessionCommand("LOCal")))
    link.open("left", "left", "*IDN?", 1.0, spoken)
    began = loop.time()
    link.close()
    assert loop.time() - began < 1.1


@pytest.mark.parametrize("pause", [0.0, 5e-3])
def test_off_makes_a_supply_remote_again_that_somebody_took_back_to_its_front_panel(pause: float) -> None:
    """Its session stands: nothing tells it. OFF at once is refused, OFF again comes after what is wanted."""
    loop, supply = VirtualLoop(), TerseSupply(wants=0.9 * pause)
    link = LocalLink(loop, network(loop, supply))
    spoken = SessionSettings(pause=pause, opening=SPOKEN.opening)
    link.open("left", "left", "*IDN?", 1.0, spoken)
    link.arm(PLAN)
    supply.outputs["LEFT"].on, supply.remote = True, False
    began = loop.time()
    link.begin_off("the end")
    assert link.finish_off(lambda message: None)["ends"]["a"]["confirmed"]
    assert not supply.outputs["LEFT"].on
    assert loop.time() - began < 0.9
