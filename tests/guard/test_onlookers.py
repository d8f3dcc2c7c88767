"""Who looks on while a run is read: told what is read, waited for by nobody."""

from __future__ import annotations

import asyncio
from typing import Any

from railwright.guard.onlookers import MOST, MOST_WAITING, Onlookers
from railwright.virtual_time import VirtualLoop

POLL = {"name": "left", "tag": "readings", "messages": ["MEAS:VOLT?"], "outputs": ["1"], "every": 0.02}


def answer(turn: int) -> dict[str, Any]:
    return {"kind": "poll", "name": "left", "tag": "readings", "turn": turn}


def test_one_that_comes_later_is_told_what_is_read_first() -> None:
    async def go() -> list[dict[str, Any]]:
        onlookers = Onlookers()
        onlookers.reads(POLL, "TCPIP::h::1::SOCKET", "A,B,C,D")
        onlookers.tell(answer(1))  # before it looked
        looking = onlookers.look()
        found = [await anext(looking)]
        onlookers.tell(answer(2))
        return [*found, await anext(looking)]

    reads, read = VirtualLoop().complete(go())
    assert (reads["kind"], reads["messages"], reads["identity"]) == ("reads", ["MEAS:VOLT?"], "A,B,C,D")
    assert read == answer(2)


def test_nothing_to_tell_is_a_sign_of_life_each_second() -> None:
    loop = VirtualLoop()

    async def go() -> float:
        looking = Onlookers().look()
        assert [(await anext(looking))["kind"] for _ in range(3)] == ["beat"] * 3
        return loop.now()

    begin = loop.now()
    assert 2.9 < loop.complete(go()) - begin < 3.1


def test_one_that_does_not_read_holds_nothing_up_and_is_told_how_much_it_missed() -> None:
    async def go() -> list[dict[str, Any]]:
        onlookers = Onlookers()
        looking = onlookers.look()
        await anext(looking)  # a sign of life: it is there
        for turn in range(MOST_WAITING + 50):
            onlookers.tell(answer(turn))
        kept = [await anext(looking) for _ in range(MOST_WAITING)]
        onlookers.tell(answer(9999))
        return [*kept, await anext(looking)]

    told = VirtualLoop().complete(go())
    assert told[-2]["turn"] == MOST_WAITING - 1
    assert told[-1] == {**answer(9999), "left_out": 50}


def test_there_is_an_end_to_it_and_a_bound() -> None:
    async def go() -> tuple[str, list[str]]:
        onlookers = Onlookers()
        onlookers.reads(POLL, "", "")
        looking = [onlookers.look() for _ in range(MOST)]
        for each in looking:
            await anext(each)
        refused = [each["kind"] async for each in onlookers.look()]
        onlookers.end()
        left = [each["kind"] async for each in looking[0]]
        await looking[1].aclose()
        # One place is free again.
        again = await anext(onlookers.look())
        await asyncio.sleep(0)
        return again["kind"], [*refused, *left]

    assert VirtualLoop().complete(go()) == ("reads", ["refused"])
