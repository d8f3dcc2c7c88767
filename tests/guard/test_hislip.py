"""HiSLIP of the guard's own, against servers that do what some do: refuse, hang, come too late, never end.

Messages by IVI-6.1, tables 3 and 4, written here by hand.
"""

from __future__ import annotations

import asyncio
import struct
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field, replace
from typing import Any

import pytest

from railwright.guard import wire
from railwright.guard.address import HislipPlace, hislip_of
from railwright.guard.off import SwitchOff
from railwright.guard.off_plan import InputOff, OffPlan, OutputOff, SupplyOff
from railwright.guard.session import Session, SessionError, Unreachable
from railwright.guard.session_settings import SessionSettings

HEAD = struct.Struct("!2sBBIQ")
FIRST = 0xFFFFFF00


def packed(kind: int, control: int = 0, parameter: int = 0, payload: bytes = b"") -> bytes:
    return HEAD.pack(b"HS", kind, control, parameter, len(payload)) + payload


async def taken(reader: asyncio.StreamReader) -> tuple[int, int, int, bytes]:
    _, kind, control, parameter, length = HEAD.unpack(await reader.readexactly(16))
    return kind, control, parameter, await reader.readexactly(length)


@dataclass
class Peer:
    """A server: `does` says what it does with a question. hangs: at which kind of message it never answers.
    refuses: what it answers to the first one. most: largest message that it takes.
    """

    does: Callable[[Peer, int, str], Awaitable[None]]
    hangs: tuple[int, ...] = ()
    refuses: bytes = b""
    most: int = 1 << 20
    on: bool = True
    took: list[tuple[int, int, int, bytes]] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    sessions: int = 0
    server: Any = None
    port: int = 0
    writers: list[asyncio.StreamWriter] = field(default_factory=list)
    sync: Any = None
    beside: Any = None

    @property
    def address(self) -> str:
        return f"TCPIP::127.0.0.1::hislip0,{self.port}::INSTR"

    async def start(self) -> None:
        self.server = await asyncio.start_server(self.serve, "127.0.0.1", 0)
        self.port = self.server.sockets[0].getsockname()[1]

    def stop(self) -> None:
        self.server.close()
        for writer in self.writers:
            writer.close()

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.writers.append(writer)
        held = b""
        try:
            while True:
                kind, control, parameter, payload = await taken(reader)
                if kind in self.hangs:
                    await asyncio.sleep(60.0)
                if kind == 0:
                    self.names.append(payload.decode())
                    if self.refuses:
                        writer.write(self.refuses)
                        continue
                    self.sessions += 1
                    self.sync = writer
                    writer.write(packed(1, 0, 0x0100 << 16 | self.sessions))
                elif kind == 17:
                    self.beside = writer
                    writer.write(packed(18))
                elif kind == 15:
                    writer.write(packed(16, 0, 0, self.most.to_bytes(8, "big")))
                elif kind in (6, 7):
                    self.took.append((kind, control, parameter, payload))
                    held += payload
                    if kind == 7:
                        text, held = held.decode().strip(), b""
                        await self.does(self, parameter, text)
        except (asyncio.IncompleteReadError, ConnectionError):
            return


async def obey(peer: Peer, number: int, text: str) -> None:
    """An instrument as it should be."""
    answers = {"*IDN?": "maker,model,1,0", "LOOK?": f"{int(peer.on)};{12.0 * peer.on};{0.5 * peer.on}"}
    if text in answers:
        peer.sync.write(packed(7, 0, number, answers[text].encode() + b"\n"))
    elif text == "OFF":
        peer.on = False


def with_peer(peer: Peer, use: Callable[[Peer, Session], Awaitable[Any]], **settings: Any) -> Any:
    async def go() -> Any:
        await peer.start()
        session = Session("left", peer.address, wire.connect, SessionSettings(**settings))
        try:
            return await use(peer, session)
        finally:
            session.close()
            peer.stop()

    return asyncio.run(go())


@pytest.mark.parametrize(
    ("answer", "ends"),
    [
        (lambda number: packed(7, 0, number, b"1.5\n"), "\n"),
        (lambda number: packed(7, 0, number, b"1.5"), "\n"),
        (lambda number: packed(7, 0, number, b"1.5\r\n"), "\r\n"),
        (lambda number: packed(6, 0, number, b"1.") + packed(7, 0, number, b"5\n"), "\r\n"),
        (lambda number: packed(6, 0, number, b"1.5\n") + packed(7, 0, number, b""), "\n"),
        (lambda number: packed(7, 0, 0xFFFFFFFF, b"1.5\n"), "\n"),
        (lambda number: packed(7, 0, number - 2, b"late\n") + packed(7, 0, number, b"1.5\n"), "\n"),
        (lambda number: packed(20, 64) + packed(7, 0, number, b"1.5\n"), "\n"),
    ],
)
def test_an_answer_in_every_form(answer: Callable[[int], bytes], ends: str) -> None:
    async def does(peer: Peer, number: int, text: str) -> None:
        peer.sync.write(answer(number))

    async def use(peer: Peer, session: Session) -> list[str]:
        await session.open()
        return [(await session.ask("VOLT?", 1.0)).answer for _ in range(3)]

    peer = Peer(does)
    assert with_peer(peer, use, answers=ends) == ["1.5"] * 3
    assert peer.names == ["hislip0"]
    numbers = [number for _, _, number, _ in peer.took]
    assert numbers == [FIRST, FIRST + 2, FIRST + 4]
    # An answer was taken before the second message, and before the third (RMT-delivered).
    assert [control for _, control, _, _ in peer.took] == [0, 1, 1]


def test_a_long_message_goes_in_pieces_that_the_server_takes() -> None:
    async def use(peer: Peer, session: Session) -> None:
        await session.open()
        await session.tell("LIST " + ",".join(["1.25"] * 100), 1.0)
        await session.ask("*IDN?", 1.0)

    peer = Peer(obey, most=116)
    with_peer(peer, use)
    pieces = [each for each in peer.took if each[2] == FIRST]
    assert [kind for kind, *_ in pieces] == [6] * (len(pieces) - 1) + [7]
    assert max(len(payload) for *_, payload in pieces) == 100
    assert b"".join(payload for *_, payload in pieces).count(b"1.25") == 100


@pytest.mark.parametrize("kind", [0, 17, 15])
def test_a_server_that_hangs_while_it_is_opened_holds_nobody_up(kind: int) -> None:
    """A name that it does not know, for one: it says nothing."""

    async def use(peer: Peer, session: Session) -> float:
        loop = asyncio.get_running_loop()
        began = loop.time()
        with pytest.raises(Unreachable):
            await session.open(0.5)
        took = loop.time() - began
        peer.hangs = ()
        await session.open(0.5)
        assert (await session.ask("*IDN?", 1.0)).answer == "maker,model,1,0"
        return took

    assert with_peer(Peer(obey, hangs=(kind,)), use) < 1.2


@pytest.mark.parametrize(
    ("refuses", "word"),
    [
        (packed(2, 3, 0, b"no such device"), "no such device"),
        (packed(2, 4), "error 4"),
        (packed(3, 1, 0, b"what?"), "what?"),
        (b"HTTP/1.1 400 Bad Request\r\n", "does not speak HiSLIP"),
        (HEAD.pack(b"HS", 1, 0, 0, 1 << 60), "does not speak HiSLIP"),
    ],
)
def test_a_server_that_refuses_is_said(refuses: bytes, word: str) -> None:
    async def use(peer: Peer, session: Session) -> str:
        with pytest.raises(Unreachable) as caught:
            await session.open(2.0)
        return str(caught.value)

    assert word in with_peer(Peer(obey, refuses=refuses), use)


def test_a_late_answer_is_none_to_the_next_question_nor_in_the_next_session() -> None:
    async def does(peer: Peer, number: int, text: str) -> None:
        late = text == "SLOW?"
        writer = peer.sync
        asyncio.get_running_loop().call_later(
            0.4 if late else 0.0, writer.write, packed(7, 0, number, text.encode() + b"\n")
        )

    async def use(peer: Peer, session: Session) -> list[str]:
        await session.open()
        with pytest.raises(SessionError):
            await session.ask("SLOW?", 0.2)
        await session.open()
        first = (await session.ask("VOLT?", 1.0)).answer
        # Given up in the same session: its answer is still owing.
        task = asyncio.get_running_loop().create_task(session.ask("SLOW?", 1.0))
        await asyncio.sleep(0.05)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        second = (await session.ask("CURR?", 1.0)).answer
        await asyncio.sleep(0.5)
        return [first, second, (await session.ask("LAST?", 1.0)).answer]

    peer = Peer(does)
    assert with_peer(peer, use) == ["VOLT?", "CURR?", "LAST?"]
    assert peer.sessions == 2


def test_a_question_that_off_interrupts_leaves_no_answer_owing() -> None:
    """In the synchronized mode its answer is lost; the one to the next question is not taken for it."""

    async def does(peer: Peer, number: int, text: str) -> None:
        if text == "OFF":
            peer.beside.write(packed(14, 0, number))
            peer.sync.write(packed(13, 0, number))
        elif text != "SLOW?":
            peer.sync.write(packed(7, 0, number, text.encode() + b"\n"))

    async def use(peer: Peer, session: Session) -> list[str]:
        await session.open()
        task = asyncio.get_running_loop().create_task(session.ask("SLOW?", 1.0))
        await asyncio.sleep(0.05)
        task.cancel()
        session.push("OFF")
        await asyncio.gather(task, return_exceptions=True)
        return [(await session.ask(text, 0.5)).answer for text in ("VOLT?", "CURR?")]

    assert with_peer(Peer(does), use) == ["VOLT?", "CURR?"]


@pytest.mark.parametrize("closes", ["sync", "beside"])
def test_a_connection_that_ends_is_an_error_at_once(closes: str) -> None:
    async def does(peer: Peer, number: int, text: str) -> None:
        getattr(peer, closes).close()

    async def use(peer: Peer, session: Session) -> float:
        await session.open()
        loop = asyncio.get_running_loop()
        began = loop.time()
        with pytest.raises(SessionError):
            await session.ask("VOLT?", 5.0)
        return loop.time() - began

    assert with_peer(Peer(does), use) < 0.5


def test_an_answer_without_end_has_one() -> None:
    async def does(peer: Peer, number: int, text: str) -> None:
        for _ in range(200):
            peer.sync.write(packed(6, 0, number, b"1" * 10_000))
            await asyncio.sleep(0)

    async def use(peer: Peer, session: Session) -> str:
        await session.open()
        with pytest.raises(SessionError) as caught:
            await session.ask("VOLT?", 5.0)
        return str(caught.value)

    assert "does not end" in with_peer(Peer(does), use)


@pytest.mark.parametrize("trouble", ["none", "refuses at first", "hangs at first", "hangs at a question"])
def test_it_is_switched_off_whatever_its_server_does_first(trouble: str) -> None:
    troubled = {"left": 2 if trouble != "none" else 0}

    async def does(peer: Peer, number: int, text: str) -> None:
        if trouble == "hangs at a question" and text == "LOOK?" and troubled["left"]:
            troubled["left"] -= 1
            return
        await obey(peer, number, text)

    peer = Peer(does)
    peer.refuses = packed(2, 4) if trouble == "refuses at first" else b""
    peer.hangs = (0,) if trouble == "hangs at first" else ()

    async def use(_: Peer, session: Session) -> Any:
        loop = asyncio.get_running_loop()
        loop.call_later(0.6, lambda: (setattr(peer, "hangs", ()), setattr(peer, "refuses", b"")))
        supply = SupplyOff("left", peer.address, "*IDN?", "maker,model,1,0", ("LOOK?",))
        output = OutputOff("left.1", "left", ("OFF",), (0, 0), (1, 0), (2, 0), 0.01)
        plan = OffPlan((supply,), (InputOff("main", (output,), series=False, below=1.0),), lost=8.0)
        plan = replace(plan, deadline=0.5)
        began = loop.time()
        ends = await SwitchOff(plan, {"left": session}, lambda what, fields: None).go()
        return ends["main"].confirmed, loop.time() - began

    confirmed, took = with_peer(peer, use)
    assert confirmed
    assert not peer.on
    assert took < 5.0


@pytest.mark.parametrize(
    ("address", "place"),
    [
        ("TCPIP::192.0.2.10::hislip0::INSTR", HislipPlace("192.0.2.10", 4880, "hislip0")),
        ("TCPIP0::supply.example::hislip1,4881::INSTR", HislipPlace("supply.example", 4881, "hislip1")),
        ("tcpip::[2001:db8::7]::HISLIP0::instr", HislipPlace("2001:db8::7", 4880, "HISLIP0")),
        ("TCPIP::192.0.2.10::hislip0,0::INSTR", None),
        ("TCPIP::192.0.2.10::inst0::INSTR", None),
        ("TCPIP::192.0.2.10::INSTR", None),
        ("TCPIP::192.0.2.10::5025::SOCKET", None),
    ],
)
def test_a_server_is_known_by_its_address(address: str, place: HislipPlace | None) -> None:
    assert hislip_of(address) == place
