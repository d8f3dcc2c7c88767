"""A switch over all outputs of a supply goes off with them, on supplies of a few lines, in virtual time."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field, replace
from typing import Any

import pytest
from tests.guard.supplies import IDENTITY, FakeOutput, FakeSupply, fed, switched_off
from tests.said import says

from railwright.guard.input_end import InputEnd
from railwright.guard.off_plan import InputOff, OffPlan, SupplyOff, read_master
from railwright.virtual_time import MemoryWriter


@dataclass
class Mastered(FakeSupply):
    """`MASTER 0`, and its state as the last answer of a look. stuck: it takes no OFF."""

    master: bool = True
    stuck: bool = False
    told: list[str] = field(default_factory=list)

    async def serve(self, reader: asyncio.StreamReader, writer: MemoryWriter) -> None:
        loop = asyncio.get_running_loop()
        self.lines.append(writer)
        while line := (await reader.readline()).decode().strip():
            if self.is_in(self.gone, loop.time()) or self.is_in(self.silent, loop.time()):
                continue
            now = loop.time()
            self.took.append((now - self.began, line))
            word, *rest = line.split()
            if word == "OFF":
                self.outputs[int(rest[0])].off(now)
            elif word == "MASTER":
                self.master = self.stuck
            elif word == "*IDN?":
                writer.write(f"{self.identity}\n".encode())
            elif word == "LOOK?":
                looks = []
                for output in self.outputs:
                    state, volts, amperes = output.look(now).split(";")
                    looks.append(f"{state};{volts if self.master else 0.0};{amperes if self.master else 0.0}")
                writer.write(f"{';'.join(looks)};{int(self.master)}\n".encode())


def off_of(name: str, outputs: int, *, first: bool = False) -> SupplyOff:
    place = (3 * outputs, 0)
    return SupplyOff(
        name,
        name,
        "*IDN?",
        IDENTITY,
        ("LOOK?",),
        master=("MASTER 0",),
        master_state=place,
        master_first=first,
    )


@dataclass
class Played:
    ends: dict[str, InputEnd]
    took: float
    masters: list[dict[str, Any]]


def play(
    inputs: tuple[InputOff, ...],
    *,
    first: bool = False,
    options: dict[str, Any] | None = None,
    hurry_at: float | None = None,
    **supplies: Mastered,
) -> Played:
    offs = tuple(off_of(name, len(each.outputs), first=first) for name, each in supplies.items())
    plan = OffPlan.from_json(OffPlan(offs, inputs, **(options or {})).to_json())
    ends, took, told = switched_off(plan, dict(supplies), hurry_at=hurry_at)
    return Played(ends, took, [fields for _, what, fields in told if what == "master"])


def two(**more: Any) -> Mastered:
    return Mastered([FakeOutput(), FakeOutput()], **more)


def test_the_outputs_go_off_then_the_master_and_each_is_read_to_be_off() -> None:
    left = two()
    played = play((fed("a", "left", 0), fed("b", "left", 1)), left=left)
    sent = [line for _, line in left.took if line.startswith(("OFF", "MASTER"))]
    assert sent == ["OFF 0", "OFF 1", "MASTER 0"]
    assert all(end.confirmed for end in played.ends.values())
    assert [(each["name"], each["off"]) for each in played.masters] == [("left", True)]
    assert not left.master


def test_the_master_goes_first_where_that_is_what_takes_all_off_at_once() -> None:
    left = two()
    played = play((fed("a", "left", 0), fed("b", "left", 1)), first=True, left=left)
    sent = [line for _, line in left.took if line.startswith(("OFF", "MASTER"))]
    assert sent == ["MASTER 0", "OFF 0", "OFF 1"]
    assert left.when("MASTER 0")[0] < 0.01
    assert all(end.confirmed for end in played.ends.values())


def test_an_output_whose_own_switch_sticks_loses_its_voltage_by_the_master_and_is_not_called_off() -> None:
    left = two()
    left.outputs[1].ignores = 10_000
    played = play((fed("a", "left", 0), fed("b", "left", 1)), options={"decay": 1.0}, left=left)
    assert left.when("MASTER 0")[0] == pytest.approx(0.25, abs=0.06)
    assert played.ends["a"].confirmed
    assert not played.ends["b"].confirmed
    assert played.ends["b"].voltage == 0.0
    assert says(played.ends["b"].why, "left.1", "on", "master switch of left", "off")


def test_a_master_that_is_not_read_off_is_told_and_sent_again() -> None:
    left = two(stuck=True)
    played = play((fed("a", "left", 0), fed("b", "left", 1)), options={"decay": 1.0}, left=left)
    assert all(end.confirmed for end in played.ends.values())
    assert [each["off"] for each in played.masters] == [False]
    assert len(left.when("MASTER 0")) >= 8


def test_a_master_stays_on_for_an_output_that_is_to_stay_on() -> None:
    """A plan of which an output stays on is never compiled with the master first."""
    left = two()
    keeps = fed("b", "left", 1, stays_on="a heater")
    played = play((fed("a", "left", 0), keeps), left=left)
    assert left.when("MASTER 0") == []
    assert left.master
    assert left.outputs[1].on
    assert played.ends["a"].confirmed
    assert [each["off"] for each in played.masters] == [False]
    assert says(str(played.masters[0]["why"]), "b")


def test_a_master_stays_on_for_what_stays_on_because_another_is_not_confirmed() -> None:
    left, right = two(), two()
    right.outputs[0].ignores = 10_000
    gate = fed("gate", "left", 0, only_after=("drain",))
    played = play((gate, fed("drain", "right", 0)), options={"decay": 1.0}, left=left, right=right)
    assert played.ends["gate"].kept_on
    assert left.when("MASTER 0") == []
    assert right.when("MASTER 0") != []


def test_the_master_of_what_goes_off_later_waits_for_it() -> None:
    left, right = two(), two()
    right.outputs[0].ignores = 3
    play((fed("b", "left", 0, after=("a",)), fed("a", "right", 0)), left=left, right=right)
    assert left.when("OFF 0")[0] > right.when("OFF 0")[0] + 0.2
    assert left.when("MASTER 0")[0] > left.when("OFF 0")[0]


@pytest.mark.parametrize("first", [False, True])
def test_a_supply_that_was_gone_is_told_both_when_it_is_back(first: bool) -> None:
    left = two(gone=(-1.0, 2.0))
    played = play((fed("a", "left", 0), fed("b", "left", 1)), first=first, left=left)
    assert all(end.confirmed for end in played.ends.values())
    assert played.masters[0]["off"]
    assert not left.master
    since = [line for at, line in left.took if at >= 2.0 and line.startswith(("OFF", "MASTER"))]
    assert {*since} == {"OFF 0", "OFF 1", "MASTER 0"}


def test_a_supply_that_stays_lost_has_no_master_that_is_called_off() -> None:
    left = two(gone=(-1.0, 9e9))
    played = play((fed("a", "left", 0),), options={"lost": 1.0}, left=left)
    assert not played.ends["a"].confirmed
    assert [each["off"] for each in played.masters] == [False]
    assert says(str(played.masters[0]["why"]), "left", "lost")


def test_what_a_look_says_of_the_master() -> None:
    plan = off_of("left", 1)
    assert read_master(plan, ["0", "0.0", "0.0", "0"]) is True
    assert read_master(plan, ["0", "0.0", "0.0", " OFF"]) is True
    assert read_master(plan, ["0", "0.0", "0.0", "1"]) is False
    with pytest.raises(ValueError, match="4 answers"):
        read_master(plan, ["0", "0.0", "0.0"])
    assert read_master(replace(plan, master_state=None), ["0"]) is None


@pytest.mark.parametrize("hurry_at", [0.0, 0.1, 0.3])
def test_a_hurry_takes_no_master_from_what_waits_for_another_and_stays_on(hurry_at: float) -> None:
    """The gate may only close when the drain is off, and that never is."""
    left = Mastered([FakeOutput(ignores=10_000), FakeOutput()])
    drain, gate = fed("drain", "left", 0), fed("gate", "left", 1, only_after=("drain",))
    played = play((drain, gate), options={"decay": 1.0}, hurry_at=hurry_at, left=left)
    assert left.outputs[1].on
    assert left.master
    assert left.when("MASTER 0") == []
    assert played.ends["gate"].kept_on
    assert [each["off"] for each in played.masters] == [False]


@pytest.mark.parametrize("gone", [(0.02, 9e9), (0.3, 9e9), (0.6, 9e9)])
def test_a_master_that_cannot_be_read_any_more_is_not_called_off(gone: tuple[float, float]) -> None:
    left = two(gone=gone)
    right = Mastered([FakeOutput(ignores=12)], stuck=True)  # so that something is waited for beside it
    inputs = (fed("a", "left", 0), fed("c", "right", 0))
    played = play(inputs, options={"decay": 3.0, "lost": 1.5}, left=left, right=right)
    told = {each["name"]: each for each in played.masters}
    assert not told["left"]["off"]
    assert "left" in told["left"]["why"]
