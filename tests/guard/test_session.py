"""One session: whole messages, deadlines, lengths, and answers that nobody asked for; in virtual time."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any

import pytest
from tests.said import says

from railwright.guard.session import Session, SessionError, Unreachable
from railwright.guard.session_settings import USUAL, SessionCommand, SessionSettings, questions
from railwright.virtual_time import MemoryWriter, VirtualLoop, memory_streams

Serve = Callable[[asyncio.StreamReader, MemoryWriter], Awaitable[None]]


def with_peer(
    serve: Serve, use: Callable[[Session], Awaitable[Any]], settings: SessionSettings = USUAL
) -> tuple[Any, float]:
    """What `use` of a session gives whose other end is served so, and how long it took [s]."""
    loop = VirtualLoop()

    async def connect(address: str, _session_settings: SessionSettings) -> Any:
        near, far = memory_streams(loop)
        loop.create_task(serve(*far))  # type: ignore[arg-type]
        return near

    async def go() -> Any:
        session = Session("left", "TCPIP::left::5025::SOCKET", connect, settings)
        await session.open()
        try:
            return await use(session)
        finally:
            session.close()

    began = loop.now()
    return loop.complete(go()), loop.now() - began


async def echo(reader: asyncio.StreamReader, writer: MemoryWriter) -> None:
    while line := await reader.readline():
        writer.write(b"got " + line)


def test_an_answer_comes_with_its_times() -> None:
    exchange, _ = with_peer(echo, lambda session: session.ask("VOLT?", 1.0))
    assert exchange.answer == "got VOLT?"
    assert exchange.received - exchange.sent == pytest.approx(2e-4)


@pytest.mark.parametrize(
    ("answer", "every", "said", "within"),
    [
        (b"", 0.1, "gives no whole answer within 1 s", 1.01),
        (b"1", 0.1, "gives no whole answer within 1 s", 1.01),
        (b"1" * 100_000, 0.01, "its answer does not end", 0.3),
    ],
)
def test_a_whole_answer_has_a_deadline_in_time_and_length(
    answer: bytes, every: float, said: str, within: float
) -> None:
    async def drip(reader: asyncio.StreamReader, writer: MemoryWriter) -> None:
        await reader.readline()
        while True:
            writer.write(answer)
            await asyncio.sleep(every)

    async def ask(session: Session) -> str:
        with pytest.raises(SessionError) as caught:
            await session.ask("VOLT?", 1.0)
        assert session.broken
        return str(caught.value)

    told, took = with_peer(drip, ask)
    assert told.startswith(said)
    assert took < within


def test_a_second_answer_is_noticed_before_the_next_question() -> None:
    async def twice(reader: asyncio.StreamReader, writer: MemoryWriter) -> None:
        while line := await reader.readline():
            writer.write(line)
            await asyncio.sleep(0.05)
            writer.write(line)

    async def ask(session: Session) -> str:
        await session.ask("VOLT?", 1.0)
        await asyncio.sleep(0.2)
        with pytest.raises(SessionError) as caught:
            await session.ask("CURR?", 1.0)
        return str(caught.value)

    assert says(with_peer(twice, ask)[0], repr("VOLT?\n"))


def test_an_answer_that_was_given_up_is_read_away_before_the_next() -> None:
    async def slow(reader: asyncio.StreamReader, writer: MemoryWriter) -> None:
        while line := await reader.readline():
            await asyncio.sleep(0.3)
            writer.write(b"got " + line)

    async def ask(session: Session) -> str:
        task = asyncio.get_running_loop().create_task(session.ask("VOLT?", 1.0))
        await asyncio.sleep(0.1)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        return (await session.ask("CURR?", 1.0)).answer

    assert with_peer(slow, ask)[0] == "got CURR?"


def test_a_peer_that_closes_is_an_error_at_once() -> None:
    async def close(reader: asyncio.StreamReader, writer: MemoryWriter) -> None:
        await reader.readline()
        writer.close()

    async def ask(session: Session) -> str:
        with pytest.raises(SessionError) as caught:
            await session.ask("VOLT?", 1.0)
        return str(caught.value)

    told, took = with_peer(close, ask)
    assert says(told, "closed")
    assert took < 0.01


def test_a_broken_session_sends_nothing_until_it_is_opened_anew() -> None:
    async def first_silent(reader: asyncio.StreamReader, writer: MemoryWriter) -> None:
        await reader.readline()

    async def ask(session: Session) -> str:
        with pytest.raises(SessionError):
            await session.ask("VOLT?", 0.2)
        with pytest.raises(SessionError) as caught:
            await session.ask("VOLT?", 0.2)
        return str(caught.value)

    told, took = with_peer(first_silent, ask)
    assert says(told, "0.2 s")
    assert took == pytest.approx(0.2, abs=0.01)


def test_no_connection_is_said_in_words() -> None:
    async def refuse(address: str, _session_settings: SessionSettings) -> Any:
        raise ConnectionRefusedError

    async def go() -> None:
        await Session("left", "TCPIP::h::1::SOCKET", refuse).open()

    with pytest.raises(Unreachable, match="TCPIP::h::1::SOCKET"):
        VirtualLoop().complete(go())


def test_a_peer_that_closed_meanwhile_is_an_error_before_anything_is_sent() -> None:
    heard: list[bytes] = []

    async def close(reader: asyncio.StreamReader, writer: MemoryWriter) -> None:
        writer.close()
        heard.append(await reader.read(100))

    async def ask(session: Session) -> str:
        await asyncio.sleep(0.1)
        with pytest.raises(SessionError) as caught:
            await session.ask("VOLT?", 1.0)
        return str(caught.value)

    told, _ = with_peer(close, ask)
    assert says(told, "closed")
    assert heard in ([], [b""])


def test_lines_end_as_the_instrument_wants_it() -> None:
    async def serve(reader: asyncio.StreamReader, writer: MemoryWriter) -> None:
        while line := await reader.readuntil(b"\r"):
            writer.write(b"got " + line.removesuffix(b"\r") + b"\r\n")

    async def use(session: Session) -> list[str]:
        return [(await session.ask(text, 1.0)).answer for text in ("VOLT?", "CURR?")]

    answers, _ = with_peer(serve, use, SessionSettings(sends="\r", answers="\r\n"))
    assert answers == ["got VOLT?", "got CURR?"]


def test_a_pause_is_kept_between_messages_and_off_does_not_wait_for_it() -> None:
    arrived: list[tuple[str, float]] = []

    async def serve(reader: asyncio.StreamReader, writer: MemoryWriter) -> None:
        while line := await reader.readline():
            arrived.append((line.decode().strip(), asyncio.get_running_loop().time()))

    async def use(session: Session) -> None:
        await session.tell("VOLT 1", 1.0)
        await session.tell("VOLT 2", 1.0)
        session.push("OUTP OFF")
        await asyncio.sleep(0.01)

    with_peer(serve, use, SessionSettings(pause=0.5))
    (_, first), (_, second), (last, off) = arrived
    assert second - first == pytest.approx(0.5)
    assert (last, off - second) == ("OUTP OFF", pytest.approx(0.0, abs=1e-9))


def test_patience_is_the_caller_s_to_give() -> None:
    """What switches off goes by its own deadlines, however long an instrument may take to answer a run."""

    async def serve(reader: asyncio.StreamReader, writer: MemoryWriter) -> None:
        await reader.read()

    async def use(session: Session) -> None:
        with pytest.raises(SessionError):
            await session.ask("OUTP?", 1.0)

    _, took = with_peer(serve, use, SessionSettings(patience=10.0))
    assert took < 1.01


@pytest.mark.parametrize("late", [0.2, 1.0, 3.0, 3.9])
@pytest.mark.parametrize("pause", [4e-3, 20e-3])
def test_nothing_comes_between_messages_that_leave_together(late: float, pause: float) -> None:
    """OFF is asked for while a look waits for its pause, before or after its selection: the selection and OFF
    leave one after the other. A selection of the look came between them, and OFF went to another output.
    """
    heard: list[str] = []

    async def serve(reader: asyncio.StreamReader, _writer: MemoryWriter) -> None:
        while line := await reader.readline():
            heard.append(line.decode().strip())

    async def use(session: Session) -> None:
        await session.tell("LAST", 1.0)
        looks = asyncio.gather(session.say_all(["INST UNIT2", "LOOK"], 1.0))
        await asyncio.sleep(late / 4.0 * pause)
        session.push_together(["INST UNIT1", "OUTP OFF"])
        session.push_together(["MASTER OFF"])
        await looks
        await asyncio.sleep(10 * pause)

    with_peer(serve, use, SessionSettings(pause=pause))
    place = heard.index("INST UNIT1")
    assert heard[place + 1 : place + 3] == ["OUTP OFF", "MASTER OFF"]
    assert sorted(heard) == sorted(["LAST", "INST UNIT2", "LOOK", "INST UNIT1", "OUTP OFF", "MASTER OFF"])


@pytest.mark.parametrize("messages", [["OUTP OFF"], ["INST UNIT1", "OUTP OFF"]])
@pytest.mark.parametrize("pause", [0.0, 0.05])
def test_off_over_a_new_connection_waits_for_no_boot(messages: list[str], pause: float) -> None:
    heard: list[tuple[float, str]] = []
    loop: list[asyncio.AbstractEventLoop] = []

    async def serve(reader: asyncio.StreamReader, _writer: MemoryWriter) -> None:
        loop.append(asyncio.get_running_loop())
        began = loop[0].time()
        while line := await reader.readline():
            heard.append((loop[0].time() - began, line.decode().strip()))

    async def use(session: Session) -> None:
        session.push_together(messages)
        session.push_together(messages)
        session.push_opening()
        await session.tell("LATER", 5.0)
        await asyncio.sleep(0.01)

    opening = (SessionCommand("SYST:REM"), SessionCommand("SYST:LLO"))
    with_peer(serve, use, SessionSettings(pause=pause, boot=2.0, opening=opening))
    first = next(time for time, text in heard if text == "OUTP OFF")
    assert first < pause * len(messages) + 1e-3
    assert next(time for time, text in heard if text == "SYST:REM") >= first
    later = next(time for time, text in heard if text == "LATER")
    assert later >= 2.0


def test_half_of_what_leaves_together_is_nothing_for_the_next_connection() -> None:
    heard: list[str] = []

    async def serve(reader: asyncio.StreamReader, _writer: MemoryWriter) -> None:
        while line := await reader.readline():
            heard.append(line.decode().strip())

    async def use(session: Session) -> None:
        session.push_together(["INST UNIT1", "OUTP OFF"])
        await asyncio.sleep(0.01)
        await session.open()
        session.push_together(["INST UNIT2", "OUTP OFF"])
        await asyncio.sleep(1.0)

    with_peer(serve, use, SessionSettings(pause=0.05))
    assert heard == ["INST UNIT1", "INST UNIT2", "OUTP OFF"]


@pytest.mark.parametrize(
    ("message", "asked"),
    [
        ("*IDN?", 1),
        ("MEASure:VOLTage? (@1)\n", 1),
        ("INSTrument 2;MEASure:VOLTage?;:MEASure:CURRent? MAX", 2),
        ("OUTPut OFF;*CLS", 0),
        # IEEE 488.2-1992, 7.6.1: only a header that ends in '?' asks; a text may have one in it.
        ('DISPlay:TEXT "ready? ; *IDN? x"', 0),
        ("DISPlay:TEXT 'off?';*OPC?", 1),
        ("", 0),
    ],
)
def test_only_a_header_asks(message: str, asked: int) -> None:
    assert questions(message) == asked


def test_a_text_with_a_question_mark_in_it_is_told_and_not_waited_for() -> None:
    async def silent(reader: asyncio.StreamReader, writer: MemoryWriter) -> None:
        await reader.readline()

    async def use(session: Session) -> str:
        return (await session.say('DISPlay:TEXT "ready?"', 1.0)).answer

    answer, took = with_peer(silent, use)
    assert answer == ""
    assert took < 0.5
