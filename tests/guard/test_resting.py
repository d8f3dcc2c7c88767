"""Contacts of relays after the outputs are off: brought to rest, or left as they are and told so."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from typing import Any

import pytest
from tests.guard.supplies import FakeOutput, FakeSupply, fed, network, supply_off

from railwright.dialects.routes import contact_off
from railwright.guard.input_end import InputEnd
from railwright.guard.off import SwitchOff
from railwright.guard.off_plan import ContactOff, OffPlan, RelaysOff
from railwright.guard.session import Session
from railwright.virtual_time import MemoryWriter, VirtualLoop

WHO = "maker,box,7,0"


@dataclass
class FakeRelays:
    """Contacts by channel. deaf: takes messages and gives no answer. sticks: channels that do not move.
    refuses: connections that are closed at once.
    """

    closed: dict[int, bool]
    identity: str = WHO
    deaf: bool = False
    sticks: tuple[int, ...] = ()
    refuses: int = 0
    took: list[tuple[float, str]] = field(default_factory=list)
    gone: tuple[float, float] = (0.0, 0.0)
    began: float = 0.0
    lines: list[MemoryWriter] = field(default_factory=list)

    def is_in(self, span: tuple[float, float], now: float) -> bool:
        return span[0] <= now - self.began < span[1]

    async def serve(self, reader: asyncio.StreamReader, writer: MemoryWriter) -> None:
        self.lines.append(writer)
        if self.refuses:
            self.refuses -= 1
            writer.close()
            return
        while line := (await reader.readline()).decode().strip():
            self.took.append((asyncio.get_running_loop().time() - self.began, line))
            if self.deaf:
                continue
            if line == "*IDN?":
                writer.write(f"{self.identity}\n".encode())
                continue
            channel = int(line.partition("(@")[2].rstrip(")"))
            if "?" in line:
                writer.write(f"{int(self.closed[channel])}\n".encode())
            elif channel not in self.sticks:
                self.closed[channel] = line.startswith("ROUTe:CLOSe")


@dataclass
class Rested:
    ends: dict[str, InputEnd]
    contacts: dict[str, dict[str, Any]]
    off_at: float
    took: float


def play(
    relays: FakeRelays,
    contacts: tuple[ContactOff, ...],
    left: FakeSupply,
    *,
    hurry_at: float | None = None,
    box_is_gone: bool = False,
    **of_input: Any,
) -> Rested:
    """Switch one input off whose lead has these contacts; everything was spoken to before. box_is_gone: but
    for the relays, which have to be reached anew.
    """
    loop = VirtualLoop()
    told: list[tuple[float, str, dict[str, Any]]] = []
    instruments: dict[str, Any] = {"left": left, "box": relays}
    connect = network(loop, instruments)
    plan = OffPlan(
        (supply_off("left", left.identity),),
        (fed("main", "left", **of_input),),
        decay=2.0,
        relays=(RelaysOff("box", "box", "*IDN?", WHO, contacts),),
    )
    plan = OffPlan.from_json(plan.to_json())

    async def go() -> tuple[SwitchOff, dict[str, InputEnd], float]:
        sessions = {name: Session(name, name, connect) for name in ("left", "box")}
        for name, session in sessions.items():
            if name == "left" or not box_is_gone:
                await session.open()
        left.began = relays.began = began = loop.time()
        off = SwitchOff(plan, sessions, lambda what, fields: told.append((loop.time() - began, what, fields)))
        if hurry_at is not None:
            loop.call_at(began + hurry_at, off.hurry)
        ends = await off.go()
        took = loop.time() - began
        for session in sessions.values():
            session.close()
        await asyncio.sleep(0.01)
        return off, ends, took

    off, ends, took = loop.complete(go())
    off_at = next((at for at, what, _ in told if what == "confirmed off"), float("inf"))
    assert [fields for _, what, fields in told if what == "contact"] == list(off.contacts.values())
    return Rested(ends, off.contacts, off_at, took)


def gate(channel: int = 1, rest: str = "open", under_load: bool = False) -> ContactOff:
    return contact_off("gate", channel, rest, ("main",), under_load)


@pytest.mark.parametrize("stands", [True, False])
@pytest.mark.parametrize("rest", ["open", "closed"])
def test_a_contact_comes_to_rest_once_its_input_is_confirmed_off(stands: bool, rest: str) -> None:
    """Also one that rests closed; one that rests by then is told nothing."""
    relays, left = FakeRelays({1: stands}), FakeSupply()
    found = play(relays, (gate(rest=rest),), left)
    assert found.ends["main"].confirmed
    assert relays.closed == {1: rest == "closed"}
    assert found.contacts["gate"]["rests"]
    moved = [at for at, line in relays.took if "?" not in line]
    assert len(moved) == (stands != (rest == "closed"))
    # Nothing at all is said to it before the input is confirmed off.
    assert min(at for at, _ in relays.took) >= found.off_at


@pytest.mark.parametrize(
    "output",
    [FakeOutput(ignores=10_000), FakeOutput(current=0.2), FakeOutput(floor=8.0)],
    ids=["stays on", "current", "voltage"],
)
@pytest.mark.parametrize("under_load", [True, False])
def test_under_load_only_what_is_rated_for_it_is_moved(output: FakeOutput, under_load: bool) -> None:
    relays, left = FakeRelays({1: True}), FakeSupply([output])
    found = play(relays, (gate(under_load=under_load),), left)
    assert not found.ends["main"].confirmed
    assert relays.closed == {1: not under_load}
    assert found.contacts["gate"]["rests"] is under_load
    assert under_load or "main" in found.contacts["gate"]["why"]
    assert under_load or relays.took == []


def test_it_is_not_closed_onto_a_voltage_that_the_device_holds() -> None:
    for rest, moved in (("closed", False), ("open", True)):
        relays, left = FakeRelays({1: rest == "open"}), FakeSupply([FakeOutput(floor=8.0)])
        found = play(relays, (gate(rest=rest),), left, holds=(7.0, 9.0))
        assert found.ends["main"].confirmed
        assert found.contacts["gate"]["rests"] is moved
        assert relays.closed == {1: False}


@pytest.mark.parametrize(
    ("relays", "why"),
    [
        (FakeRelays({1: True}, deaf=True), "gives no whole answer"),
        (FakeRelays({1: True}, sticks=(1,)), "told to be open"),
    ],
    ids=["hangs", "sticks"],
)
@pytest.mark.parametrize("hurry_at", [None, 0.5])
def test_one_that_fails_changes_nothing_of_the_outputs(
    relays: FakeRelays, why: str, hurry_at: float | None
) -> None:
    still, left = play(FakeRelays({1: True}), (gate(),), FakeSupply()), FakeSupply()
    found = play(relays, (gate(),), left, hurry_at=hurry_at)
    assert found.ends["main"].confirmed
    assert found.off_at == pytest.approx(still.off_at, abs=1e-3)
    assert left.when("OFF 0") == [pytest.approx(0.0, abs=1e-3)]
    assert not found.contacts["gate"]["rests"]
    assert "unknown" in found.contacts["gate"]["why"]
    assert hurry_at is not None or why in found.contacts["gate"]["why"]
    assert found.took < (1.2 if hurry_at is not None else 11.0)


def test_another_instrument_at_its_address_is_told_nothing() -> None:
    relays, left = FakeRelays({1: True}, identity="maker,box,8,0", refuses=1), FakeSupply()
    found = play(relays, (gate(),), left)
    assert relays.closed == {1: True}
    assert "another instrument" in found.contacts["gate"]["why"]
    assert {line for _, line in relays.took} == {"*IDN?"}


def test_one_whose_line_was_lost_is_reached_anew() -> None:
    relays, left = FakeRelays({1: True, 2: True}, refuses=1), FakeSupply()
    other = contact_off("other", 2, "open", ("main",), under_load=False)
    found = play(relays, (gate(), other), left)
    assert relays.closed == {1: False, 2: False}
    assert [each["rests"] for each in found.contacts.values()] == [True, True]


def test_an_off_plan_of_before_there_were_relays_is_read() -> None:
    plan = OffPlan((supply_off("left", "who"),), (fed("main", "left"),))
    text = plan.to_json()
    assert '"relays"' in text
    assert OffPlan.from_json(text.replace(', "relays": []', "")) == plan


def test_one_that_sticks_holds_up_no_other_and_each_has_its_own_reason() -> None:
    relays, left = FakeRelays({1: True, 2: True, 3: True}, sticks=(1,)), FakeSupply()
    contacts = tuple(contact_off(f"gate {n}", n, "open", ("main",), False) for n in (1, 2, 3))
    found = play(relays, contacts, left)
    assert relays.closed == {1: True, 2: False, 3: False}
    assert [each["rests"] for each in found.contacts.values()].count(True) == 2
    assert not found.contacts["gate 1"]["rests"]
    assert "told to be open" in found.contacts["gate 1"]["why"]


@pytest.mark.parametrize("back", [0.28, 0.3, 0.35])
def test_what_comes_on_again_meanwhile_is_not_called_off_nor_switched_under_load(back: float) -> None:
    """The relays take their time (they are not reached at first), and the output comes on, and stays on."""
    relays = FakeRelays({1: True}, refuses=2)
    left = FakeSupply([FakeOutput(back=back, stuck=True)])
    found = play(relays, (gate(),), left, box_is_gone=True)
    assert left.outputs[0].on
    assert not found.ends["main"].confirmed
    assert relays.closed == {1: True}
    assert not found.contacts["gate"]["rests"]


def test_an_output_that_comes_on_while_relays_are_waited_for_is_not_called_off() -> None:
    relays = FakeRelays({1: True}, deaf=True)
    left = FakeSupply([FakeOutput(back=0.8, stuck=True)])
    found = play(relays, (gate(under_load=True),), left)
    assert left.outputs[0].on
    assert not found.ends["main"].confirmed
