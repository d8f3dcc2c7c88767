"""OFF that interrupts a question over HiSLIP is no lost supply, in whatever order its server tells it and
whenever in the exchange OFF leaves; a connection that really ends is told at once. In virtual time.

Messages by IVI-6.1, tables 3 and 4, written here by hand; and the twin's own server.
"""

from __future__ import annotations

import asyncio
import struct
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

import pytest

from railwright.guard.address import HislipPlace
from railwright.guard.hislip import open_hislip
from railwright.guard.off_plan import InputOff, OffPlan, OutputOff, SupplyOff
from railwright.guard.off_supply import SupplySwitchedOff
from railwright.guard.session import Session
from railwright.guard.session_settings import SessionSettings
from railwright.twin.hislip import HislipServer
from railwright.virtual_time import VirtualLoop, memory_streams

HEAD = struct.Struct("!2sBBIQ")
LATENCY = 1e-3
WORKS = 6e-3
"""How long the supply thinks before it answers [s]."""

EXCHANGE = 2 * LATENCY + WORKS
ANSWER = "{};12.0;0.0;{};12.0;0.0"


def packed(kind: int, control: int = 0, parameter: int = 0, payload: bytes = b"") -> bytes:
    return HEAD.pack(b"HS", kind, control, parameter, len(payload)) + payload


@dataclass
class Server:
    """A supply of two outputs behind a server of HiSLIP. How it tells that a question was interrupted:

    sync first, beside first: on both connections, in that order; beside late: there long after; silent: not
    at all, and the answer is lost; overlap: it answers all the same, late; nameless: as sync first, and its
    answers name no question; half: the answer had begun; half, silent: and nothing tells that it ends there.
    """

    tells: str
    on: list[bool] = field(default_factory=lambda: [True, True])
    asked: list[int] = field(default_factory=list)
    looks: int = 0
    sync: Any = None
    beside: Any = None
    lines: list[Any] = field(default_factory=list)

    async def serve(self, reader: Any, writer: Any) -> None:
        self.lines.append(writer)
        with suppress(asyncio.IncompleteReadError, ConnectionError):
            while True:
                _, kind, _, number, length = HEAD.unpack(await reader.readexactly(16))
                payload = await reader.readexactly(length)
                if kind == 0:
                    self.sync = writer
                    writer.write(packed(1, 0, 0x0100 << 16 | 1))
                elif kind == 17:
                    self.beside = writer
                    writer.write(packed(18))
                elif kind == 15:
                    writer.write(packed(16, 0, 0, (1 << 20).to_bytes(8, "big")))
                elif kind == 7:
                    self.take(number, payload.decode().strip())

    def take(self, number: int, text: str) -> None:
        loop = asyncio.get_running_loop()
        if self.asked and self.tells != "overlap":
            self.interrupt(number)
        if text.startswith("OFF"):
            self.on[int(text[-1])] = False
            return
        self.looks += text == "LOOK?"
        self.asked.append(number)
        if self.tells.startswith("half") and text == "LOOK?":
            loop.call_later(WORKS / 2, self.begin, number)
        loop.call_later(WORKS * (3 if self.tells == "overlap" else 1), self.answer, number, text)

    def interrupt(self, number: int) -> None:
        loop = asyncio.get_running_loop()
        self.asked.clear()
        sync, beside = packed(13, 0, number), packed(14, 0, number)
        if self.tells == "beside first":
            self.beside.write(beside)
            loop.call_later(LATENCY, self.sync.write, sync)
        elif not self.tells.endswith("silent"):
            self.sync.write(sync)
            loop.call_later(20 * LATENCY if self.tells == "beside late" else 0.0, self.beside.write, beside)

    def begin(self, number: int) -> None:
        if number in self.asked:
            self.sync.write(packed(6, 0, number, self.told("LOOK?")[:3].encode()))

    def told(self, text: str) -> str:
        return ANSWER.format(*map(int, self.on)) if text == "LOOK?" else "maker,model,1,0"

    def answer(self, number: int, text: str) -> None:
        if number in self.asked:
            self.asked.remove(number)
            begun = 3 if self.tells.startswith("half") and text == "LOOK?" else 0
            named = 0xFFFF_FFFF if self.tells == "nameless" else number
            self.sync.write(packed(7, 0, named, self.told(text)[begun:].encode() + b"\n"))


@dataclass
class TwinsServer(Server):
    """The same behind the server of the twins."""

    def __post_init__(self) -> None:
        self.hislip = HislipServer("hislip0", self.accept, lambda: None, lambda: 0)

    async def serve(self, reader: Any, writer: Any) -> None:
        self.lines.append(writer)
        await self.hislip.accept(reader, writer)

    async def accept(self, reader: Any, writer: Any) -> None:
        while line := (await reader.read()).decode().strip():
            if line.startswith("OFF"):
                self.on[int(line[-1])] = False
                continue
            self.looks += line == "LOOK?"
            await asyncio.sleep(WORKS)
            writer.write(self.told(line).encode() + b"\n")


TELLS = ("sync first", "beside first", "beside late", "silent", "overlap", "nameless")
SERVERS: dict[str, Callable[[], Server]] = {
    **{tells: (lambda tells=tells: Server(tells)) for tells in TELLS},  # type: ignore[misc]
    "the twin's": lambda: TwinsServer("as it does"),
}
Told = list[tuple[float, str, dict[str, Any]]]
OFF = ("OFF 0", "OFF 1")


def looked_at(
    server: Server, does: Callable[[SupplySwitchedOff], None], at: float
) -> tuple[Told, float, SupplySwitchedOff]:
    """A supply that is looked at, to which something is done so long after its second look has left [s]: what
    was told, since when that look left [s], and the supply 0.5 s later.
    """
    loop, told = VirtualLoop(), list[tuple[float, str, dict[str, Any]]]()

    async def open_socket(host: str, port: int) -> Any:
        near, far = memory_streams(loop, LATENCY)
        loop.create_task(server.serve(*far))
        return near

    async def connect(address: str, session_settings: SessionSettings) -> Any:
        return await open_hislip(HislipPlace("here", 4880, "hislip0"), "\n", open_socket)

    async def go() -> tuple[float, SupplySwitchedOff]:
        session = Session("left", "TCPIP::here::hislip0::INSTR", connect)
        await session.open()
        outputs = tuple(
            OutputOff(f"left.{n}", "left", (OFF[n],), (3 * n, 0), (3 * n + 1, 0), (3 * n + 2, 0), 0.01)
            for n in (0, 1)
        )
        inputs = tuple(InputOff(o.name, (o,), series=False, below=1.0) for o in outputs)
        document = SupplyOff("left", "left", "*IDN?", "maker,model,1,0", ("LOOK?",))
        plan = OffPlan((document,), inputs, every=0.02, deadline=0.3)
        found = SupplySwitchedOff(
            document, session, plan, lambda what, f: told.append((loop.time(), what, f))
        )
        working = loop.create_task(found.deal_with())
        # The second look leaves 20 ms after the first.
        left = loop.time() + 0.02
        loop.call_at(left + at, does, found)
        await asyncio.sleep(0.52)
        found.done = True
        await asyncio.wait([working], timeout=1.0)
        session.close()
        await asyncio.sleep(0.05)
        return left, found

    left, found = loop.complete(go())
    return [(when - left, what, fields) for when, what, fields in told], left, found


def both_off(found: SupplySwitchedOff) -> None:
    for output in found._outputs:
        found.wanted[output.name] = output
        found.push(output)


def one_after_the_other(found: SupplySwitchedOff) -> None:
    """The second output so soon after the first that it interrupts the look that came in between, too."""
    loop = asyncio.get_running_loop()
    for number, output in enumerate(found._outputs):
        found.wanted[output.name] = output
        loop.call_later(number * 0.6 * EXCHANGE, found.push, output)


@pytest.mark.parametrize("part", [0.01, 0.05, 0.12, 0.13, 0.3, 0.5, 0.7, 0.86, 0.88, 0.99, 1.0, 1.01])
@pytest.mark.parametrize("does", [both_off, one_after_the_other])
@pytest.mark.parametrize("tells", list(SERVERS))
def test_off_that_interrupts_a_look_is_no_lost_supply(tells: str, does: Any, part: float) -> None:
    told, _, found = looked_at(SERVERS[tells](), does, part * EXCHANGE)
    assert [what for _, what, _ in told if what in ("lost", "answers again", "off again")] == []
    for name, (look, asked) in found.looks.items():
        assert look.off, name
        assert asked >= found.sent[name] - 1e-9
    off = min(
        when for when, what, fields in told if what == "look" and fields["answer"].startswith("0;12.0;0.0;0")
    )
    # Asked again at once; the last OFF leaves 0.6 of an exchange after the first.
    assert off <= part * EXCHANGE + 0.6 * EXCHANGE + 0.02 + 4 * EXCHANGE


@pytest.mark.parametrize("part", [0.2, 0.5, 0.9])
@pytest.mark.parametrize("tells", ["half", "half, silent"])
def test_an_answer_that_had_begun_is_not_the_beginning_of_the_next(tells: str, part: float) -> None:
    told, _, found = looked_at(Server(tells), both_off, part * EXCHANGE)
    assert [what for _, what, _ in told if what != "look"] == []
    looks = {fields["answer"] for _, what, fields in told if what == "look"}
    assert looks == {ANSWER.format(1, 1), ANSWER.format(0, 0)}
    assert all(look.off for look, _ in found.looks.values())


@pytest.mark.parametrize("part", [0.1, 0.5, 0.95])
@pytest.mark.parametrize("off_first", [True, False])
@pytest.mark.parametrize("which", [0, 1])
def test_a_connection_that_ends_is_told_at_once(which: int, off_first: bool, part: float) -> None:
    """Whichever of the two it is, and also where OFF had interrupted the question before."""
    server = Server("sync first")

    def does(found: SupplySwitchedOff) -> None:
        if off_first:
            both_off(found)
        server.lines[which].close()

    told, _, _ = looked_at(server, does, part * EXCHANGE)
    lost = [when for when, what, _ in told if what == "lost"]
    assert lost
    # Late in the exchange its answer was on the way: then as the next look begins.
    at_once = part * EXCHANGE + 2 * LATENCY
    assert lost[0] <= (0.02 if at_once > EXCHANGE and not off_first else at_once) + 1e-6


@pytest.mark.parametrize("part", [0.2, 0.8])
def test_a_supply_that_is_silent_since_off_is_lost_after_the_deadline(part: float) -> None:
    server = Server("sync first")

    def does(found: SupplySwitchedOff) -> None:
        server.take = lambda number, text: None  # type: ignore[method-assign]
        both_off(found)

    told, _, _ = looked_at(server, does, part * EXCHANGE)
    lost = [when for when, what, _ in told if what == "lost"]
    assert lost
    assert lost[0] <= part * EXCHANGE + 0.3 + 0.02 + 1e-6


def test_who_it_is_is_asked_again_where_off_interrupts_that() -> None:
    """A new session after the old one went: the other input's OFF leaves while its identity is asked for."""
    server = Server("sync first")

    def does(found: SupplySwitchedOff) -> None:
        server.lines[0].close()
        first, second = found._outputs
        found.wanted[first.name] = first
        loop = asyncio.get_running_loop()

        def later() -> None:
            found.wanted[second.name] = second
            found.push(second)

        # It is lost 1 ms later, connected three exchanges of 2 ms after that, and then asked.
        for number in range(20):
            loop.call_later(number * 1e-3, later)

    told, _, found = looked_at(server, does, 0.3 * EXCHANGE)
    words = [what for _, what, _ in told]
    assert words.count("lost") == 1
    assert words.count("answers again") == 1
    again = next(fields["after"] for _, what, fields in told if what == "answers again")
    assert again < 0.12
    assert all(look.off for look, _ in found.looks.values())
