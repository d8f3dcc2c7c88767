"""What users of VISA libraries report of instruments, reproduced by small servers: survived, and outputs off.

The guard's helper process speaks pyvisa with pyvisa-py; each server stands in this process.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import replace
from typing import Any

import pytest
from tests.instruments.vxi11 import CLEAR, CREATE_LINK, IDENTITY, READ, WRITE, Vxi11Instrument

from railwright.guard import wire
from railwright.guard.off import SwitchOff
from railwright.guard.off_plan import InputOff, OffPlan, OutputOff, SupplyOff
from railwright.guard.session import Session, SessionError, Unreachable
from railwright.guard.session_settings import SessionSettings

Use = Callable[[Session], Awaitable[Any]]


def with_instrument(instrument: Vxi11Instrument, use: Use) -> Any:
    async def go() -> Any:
        await instrument.start()
        session = Session("left", instrument.address, wire.connect)
        try:
            return await use(session)
        finally:
            session.close()
            await asyncio.sleep(wire.GOODBYE + 0.1)
            instrument.stop()

    return asyncio.run(go())


async def switched_off(session: Session, **plan: Any) -> tuple[Any, float]:
    """What becomes of the one output, and how long that takes [s]."""
    supply = SupplyOff(
        "left", session.address, "*IDN?", IDENTITY, ("LOOK?",), session_settings=session.session_settings
    )
    output = OutputOff("left.1", "left", ("OFF",), (0, 0), (1, 0), (2, 0), 0.01)
    made = OffPlan((supply,), (InputOff("main", (output,), series=False, below=1.0),), lost=30.0)
    began = asyncio.get_running_loop().time()
    ends = await SwitchOff(replace(made, **plan), {"left": session}, lambda what, fields: None).go()
    return ends["main"], asyncio.get_running_loop().time() - began


def test_an_instrument_as_it_should_be() -> None:
    async def use(session: Session) -> tuple[str, Any]:
        await session.open(10.0)
        return (await session.ask("*IDN?", 2.0)).answer, await switched_off(session)

    instrument = Vxi11Instrument()
    answer, (end, took) = with_instrument(instrument, use)
    assert answer == IDENTITY
    assert end.confirmed
    assert took < 2.0
    assert not instrument.links


@pytest.mark.parametrize("hangs", [{READ: 1}, {READ: 2}, {WRITE: 1}, {READ: 1, CLEAR: 1}])
def test_a_call_that_no_time_out_ends(hangs: dict[int, int]) -> None:
    """A read of VXI-11 blocks while the instrument hangs: the process that waits is given up."""

    async def use(session: Session) -> tuple[float, Any]:
        loop = asyncio.get_running_loop()
        await session.open(10.0)
        instrument.hangs = dict(hangs)
        began = loop.time()
        with pytest.raises(SessionError):
            await session.ask("LOOK?", 1.0)
        gave_up = loop.time() - began
        return gave_up, await switched_off(session)

    instrument = Vxi11Instrument()
    gave_up, (end, took) = with_instrument(instrument, use)
    assert gave_up < 1.8
    assert end.confirmed
    assert not instrument.on
    assert took < 8.0


@pytest.mark.parametrize("times", [1, 2])
def test_an_opening_that_hangs(times: int) -> None:
    async def use(session: Session) -> tuple[float, Any]:
        loop = asyncio.get_running_loop()
        began = loop.time()
        with pytest.raises(Unreachable):
            await session.open(2.5)
        return loop.time() - began, await switched_off(session)

    instrument = Vxi11Instrument(hangs={CREATE_LINK: times})
    gave_up, (end, _) = with_instrument(instrument, use)
    assert gave_up < 3.4
    assert end.confirmed
    assert not instrument.on


@pytest.mark.parametrize("late", [1, 2, 3])
def test_one_late_answer_is_not_taken_for_the_next(late: int) -> None:
    """It stays to be read, and each answer is then that to the question before: until a device clear."""

    async def use(session: Session) -> tuple[list[str], Any]:
        await session.open(10.0)
        instrument.late = late
        with pytest.raises(SessionError):
            await session.ask("LOOK?", 1.0)
        for _ in range(late - 1):
            await session.open(10.0)
            with pytest.raises(SessionError):
                await session.ask("LOOK?", 1.0)
        await session.open(10.0)
        answers = [(await session.ask(text, 2.0)).answer for text in ("*IDN?", "LOOK?")]
        return answers, await switched_off(session)

    instrument = Vxi11Instrument()
    answers, (end, _) = with_instrument(instrument, use)
    assert answers == [IDENTITY, "1;12.0;0.5"]
    assert instrument.cleared == late + 1
    assert end.confirmed


@pytest.mark.parametrize("lock_time", ["refused", "hangs"])
def test_one_that_wants_no_lock_time(lock_time: str) -> None:
    async def use(session: Session) -> tuple[str, Any]:
        await session.open(10.0)
        return (await session.ask("*IDN?", 2.0)).answer, await switched_off(session)

    answer, (end, _) = with_instrument(Vxi11Instrument(lock_time=lock_time), use)
    assert answer == IDENTITY
    assert end.confirmed


@pytest.mark.parametrize("hangs", [False, True])
def test_one_that_takes_a_second_session_only_when_the_first_is_closed(hangs: bool) -> None:
    """Its one link is freed where it is destroyed, and not where the connection ends; where it hung then, a
    person has to switch it off and on, which is said.
    """

    async def use(session: Session) -> Any:
        for _ in range(3):
            await session.open(10.0)
            assert (await session.ask("*IDN?", 2.0)).answer == IDENTITY
            session.close()
            await asyncio.sleep(wire.GOODBYE)
        if hangs:
            await session.open(10.0)
            instrument.hangs = {READ: 1}
            asyncio.get_running_loop().call_later(4.0, instrument.links.clear)
            with pytest.raises(SessionError):
                await session.ask("LOOK?", 1.0)
        return await switched_off(session)

    instrument = Vxi11Instrument(one_link=True)
    end, _ = with_instrument(instrument, use)
    assert end.confirmed
    assert not instrument.on


class Socket:
    """A raw socket whose answers end as they like."""

    def __init__(self, ends: bytes) -> None:
        self.ends, self.on, self.took = ends, True, list[str]()

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while line := (await reader.readline()).decode().strip():
            self.took.append(line)
            self.on = self.on and line != "OFF"
            known = {"*IDN?": IDENTITY, "LOOK?": f"{int(self.on)};{12.0 * self.on};{0.5 * self.on}"}
            if line in known:
                writer.write(known[line].encode() + self.ends)


def with_socket(peer: Socket, use: Use, settings: SessionSettings) -> Any:
    async def go() -> Any:
        server = await asyncio.start_server(peer.serve, "127.0.0.1", 0)
        address = f"TCPIP::127.0.0.1::{server.sockets[0].getsockname()[1]}::SOCKET"
        session = Session("left", address, wire.connect, settings)
        try:
            return await use(session)
        finally:
            session.close()
            await asyncio.sleep(wire.GOODBYE + 0.1)
            server.close()

    return asyncio.run(go())


@pytest.mark.parametrize("visa", ["", "@py"])
@pytest.mark.parametrize(
    ("ends", "settings", "understood"),
    [
        (b"\n", SessionSettings(), True),
        (b"\r\n", SessionSettings(), True),
        (b"\r", SessionSettings(answers="\r"), True),
        (b"", SessionSettings(), False),
        (b"\r", SessionSettings(), False),
    ],
)
def test_a_socket_whose_answers_have_another_end_or_none(
    ends: bytes, settings: SessionSettings, understood: bool, visa: str
) -> None:
    """Nobody waits for ever, and OFF goes out although nothing that it says is understood."""

    async def use(session: Session) -> tuple[float, bool, Any]:
        loop = asyncio.get_running_loop()
        await session.open(10.0)
        began, answered = loop.time(), True
        try:
            assert (await session.ask("*IDN?", 1.0)).answer == IDENTITY
        except SessionError:
            answered = False
        gave_up = loop.time() - began
        return gave_up, answered, await switched_off(session, lost=3.0)

    peer = Socket(ends)
    gave_up, answered, (end, _) = with_socket(peer, use, replace(settings, visa=visa))
    assert answered is understood
    assert gave_up < 1.8
    assert end.confirmed is understood
    assert not peer.on


@pytest.mark.alone
def test_small_messages_leave_at_once_also_by_the_library() -> None:
    """Without TCP_NODELAY each of these waits for the acknowledgement of the one before, 40 ms."""

    async def use(session: Session) -> float:
        loop = asyncio.get_running_loop()
        await session.open(10.0)
        began = loop.time()
        for _ in range(20):
            for _ in range(3):
                await session.tell("VOLT 1", 1.0)
            await session.ask("*IDN?", 1.0)
        return (loop.time() - began) / 20

    took = with_socket(Socket(b"\n"), use, SessionSettings(visa="@py"))
    assert took < 0.03
