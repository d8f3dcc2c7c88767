"""Switching off: what counts as confirmed, and that no waiting lasts for ever; in virtual time."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import replace
from typing import Any

from tests.said import says

from railwright.guard.input_end import InputEnd
from railwright.guard.off import SwitchOff
from railwright.guard.off_plan import InputOff, OffPlan, OutputOff, SupplyOff
from railwright.guard.session import Session
from railwright.guard.session_settings import SessionSettings
from railwright.virtual_time import MemoryWriter, VirtualLoop, memory_streams

Serve = Callable[[asyncio.StreamReader, MemoryWriter], Awaitable[None]]

OUTPUT = OutputOff("left.1", "left", ("OUTP OFF",), (0, 0), (1, 0), (2, 0), no_current=0.01)
PLAN = OffPlan(
    (SupplyOff("left", "somewhere", "*IDN?", "M,1,2,3", ("OUTP?;VOLT?;CURR?",)),),
    (InputOff("main", (OUTPUT,), series=False, below=1.0),),
    decay=1.0,
    lost=3.0,
)


def switch_off(serve: Serve, *, opens_in: float = 0.0, plan: OffPlan = PLAN) -> tuple[InputEnd, float]:
    """What became of the input, and how long that took [s]."""
    loop = VirtualLoop()

    async def connect(address: str, _session_settings: SessionSettings) -> Any:
        await asyncio.sleep(opens_in)
        near, far = memory_streams(loop)
        loop.create_task(serve(*far))  # type: ignore[arg-type]
        return near

    async def go() -> InputEnd:
        session = Session("left", "somewhere", connect)
        ends = await SwitchOff(plan, {"left": session}, lambda what, fields: None).go()
        session.close()
        return ends["main"]

    began = loop.now()
    return loop.complete(go()), loop.now() - began


def test_one_look_alone_confirms_nothing_however_slow_the_supply_answers() -> None:
    """It says off once, and is on again when it is asked for the second time, 0.6 s later."""
    looks = 0

    async def serve(reader: asyncio.StreamReader, writer: MemoryWriter) -> None:
        nonlocal looks
        while line := await reader.readline():
            if line.startswith(b"*IDN?"):
                writer.write(b"M,1,2,3\n")
            elif b"?" in line:
                looks += 1
                await asyncio.sleep(0.0 if looks == 1 else 0.6)
                writer.write(b"0;0;0\n" if looks == 1 else b"1;12;0.5\n")

    end, _ = switch_off(serve)
    assert not end.confirmed
    assert says(end.why, "left.1", "on")


def test_a_supply_that_comes_and_goes_is_not_waited_for_for_ever() -> None:
    """Each connection answers one look, on, and is closed."""

    async def serve(reader: asyncio.StreamReader, writer: MemoryWriter) -> None:
        while line := await reader.readline():
            if line.startswith(b"*IDN?"):
                writer.write(b"M,1,2,3\n")
            elif b"?" in line:
                writer.write(b"1;12;0.5\n")
                await asyncio.sleep(0.05)
                writer.close()
                return

    end, took = switch_off(serve)
    assert not end.confirmed
    assert took < 8.0


def test_a_way_to_the_supply_that_is_slow_to_open_is_waited_for() -> None:
    """A process that loads a VISA library takes longer than an answer may."""

    async def serve(reader: asyncio.StreamReader, writer: MemoryWriter) -> None:
        while line := await reader.readline():
            if line.startswith(b"*IDN?"):
                writer.write(b"M,1,2,3\n")
            elif b"?" in line:
                writer.write(b"0;0;0\n")

    end, took = switch_off(serve, opens_in=2.0)
    assert end.confirmed
    assert took < 3.0


def answers(look: bytes) -> Serve:
    """A supply that says the same whenever it is looked at."""

    async def serve(reader: asyncio.StreamReader, writer: MemoryWriter) -> None:
        while line := await reader.readline():
            if b"?" in line:
                writer.write(b"M,1,2,3\n" if line.startswith(b"*IDN?") else look + b"\n")

    return serve


def test_voltages_in_series_that_cancel_have_not_fallen() -> None:
    second = replace(OUTPUT, name="left.2", state=(0, 1), voltage=(1, 1), current=(2, 1))
    both = InputOff("main", (OUTPUT, second), series=True, below=1.0)
    end, _ = switch_off(answers(b"0,0;12,-12;0,0"), plan=replace(PLAN, inputs=(both,)))
    assert not end.confirmed
    assert says(end.why, "12 V", "1 V")
    assert switch_off(answers(b"0,0;0.4,-0.4;0,0"), plan=replace(PLAN, inputs=(both,)))[0].confirmed


def test_a_number_that_means_none_is_no_reading() -> None:
    end, _ = switch_off(answers(b"0;9.91E37;0"))
    assert not end.confirmed
    assert says(end.why, "left", "9.91E37", "0")


def test_a_voltage_that_has_fallen_while_a_current_still_flows_is_told_as_fallen() -> None:
    end, _ = switch_off(answers(b"0;0.4;0.02"))
    assert not end.confirmed
    assert says(end.why, "left.1", "0.02 A")
    assert end.fell is not None
    assert end.off_read is not None
    assert end.fell == end.off_read
