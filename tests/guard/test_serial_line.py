"""Serial lines of the guard's own, on pseudo-terminals: settings, whole messages, lines that are gone."""

from __future__ import annotations

import asyncio
import os
import subprocess
import sys
import termios
import time
import tty
from collections.abc import Awaitable, Callable
from dataclasses import asdict, replace
from typing import Any

import pytest
from tests.said import says

from railwright.guard import wire
from railwright.guard.address import device_of, transport_of
from railwright.guard.core import Guard
from railwright.guard.locks import normalised
from railwright.guard.off import SwitchOff
from railwright.guard.off_plan import InputOff, OffPlan, OutputOff, SupplyOff
from railwright.guard.serial_line import LineWriter, described, open_line, set_line
from railwright.guard.session import Session, SessionError, Unreachable
from railwright.guard.session_settings import LineSettings, SessionSettings

FAST = SessionSettings(line=LineSettings(115200))
XON_XOFF = termios.IXON | termios.IXOFF
BY_PATH = "/dev/serial/by-path/pci-0000:00:14.0-usb-0:2:1.0-port0"


class Peer:
    """The instrument's end of a line: carries out whole lines, in the order in which they come.

    held: an input buffer in which something stands already. on: its output.
    """

    def __init__(self, held: bytes = b"") -> None:
        self.near, self.far = os.openpty()
        tty.setraw(self.far)
        os.set_blocking(self.near, False)
        self.address = f"ASRL{os.ttyname(self.far)}::INSTR"
        self.held, self.on, self.deaf = held, True, False
        self.errors: list[str] = []
        self.took: list[str] = []
        self.late: list[float] = []
        """How long the next answers take [s]."""

    def listen(self) -> None:
        asyncio.get_running_loop().add_reader(self.near, self._receive)

    def _receive(self) -> None:
        self.held += os.read(self.near, 65536)
        while b"\n" in self.held and not self.deaf:
            line, _, self.held = self.held.partition(b"\n")
            self._take(line.decode("latin-1"))

    def _take(self, line: str) -> None:
        self.took.append(line)
        answers = {"*IDN?": "maker,model,1,0", "LOOK?": f"{int(self.on)};{12.0 * self.on};{0.5 * self.on}"}
        if line in answers:
            late = self.late.pop(0) if self.late else 0.0
            answer = answers[line].encode() + b"\n"
            asyncio.get_running_loop().call_later(late, os.write, self.near, answer)
        elif line in ("OFF", "ON"):
            self.on = line == "ON"
        else:
            self.errors.append(line)

    def close(self) -> None:
        for descriptor in (self.near, self.far):
            os.close(descriptor)


def with_peer(use: Callable[[Peer], Awaitable[Any]], peer: Peer | None = None) -> Any:
    peer = peer or Peer()

    async def go() -> Any:
        peer.listen()
        try:
            return await use(peer)
        finally:
            asyncio.get_running_loop().remove_reader(peer.near)

    try:
        return asyncio.run(go())
    finally:
        peer.close()


def plan_for(peer: Peer, settings: SessionSettings = FAST) -> OffPlan:
    supply = SupplyOff(
        "left", peer.address, "*IDN?", "maker,model,1,0", ("LOOK?",), session_settings=settings
    )
    output = OutputOff("left.1", "left", ("OFF",), (0, 0), (1, 0), (2, 0), 0.01)
    return OffPlan((supply,), (InputOff("main", (output,), series=False, below=1.0),), lost=2.0)


async def switched_off(plan: OffPlan, peer: Peer) -> Any:
    """What becomes of the plan's input over a session that is not open yet, and how long that takes [s]."""
    session = Session("left", peer.address, wire.connect, plan.supplies[0].session_settings)
    off = SwitchOff(plan, {"left": session}, lambda what, fields: None)
    began = time.monotonic()
    try:
        ends = await off.go()
    finally:
        session.close()
    return ends["main"], time.monotonic() - began


def test_an_answer_comes_over_a_line() -> None:
    async def use(peer: Peer) -> str:
        session = Session("left", peer.address, wire.connect, FAST)
        await session.open()
        try:
            return (await session.ask("*IDN?", 1.0)).answer
        finally:
            session.close()

    assert with_peer(use) == "maker,model,1,0"


@pytest.mark.parametrize(
    ("settings", "speed", "stops", "inputs"),
    [
        (LineSettings(), termios.B9600, 0, 0),
        (LineSettings(57600, 8, "none", 2, "software"), termios.B57600, termios.CSTOPB, XON_XOFF),
        (LineSettings(19200, 7, "even", 1, "hardware"), termios.B19200, 0, termios.INPCK),
        (LineSettings(4800, 7, "odd", 2), termios.B4800, termios.CSTOPB, termios.INPCK),
    ],
)  # fmt: skip
def test_a_line_is_set_as_the_bench_says(settings: LineSettings, speed: int, stops: int, inputs: int) -> None:
    near, far = os.openpty()
    try:
        set_line(far, settings, os.ttyname(far))
        there = termios.tcgetattr(far)
    finally:
        os.close(near)
        os.close(far)
    assert there[4:6] == [speed, speed]
    assert there[2] & termios.CSTOPB == stops
    assert there[0] == inputs
    assert there[1] == there[3] == 0
    assert bool(there[2] & termios.CRTSCTS) is (settings.flow_control == "hardware")


@pytest.mark.parametrize("wrong", [replace(LineSettings(), baud=12345), replace(LineSettings(), data_bits=9)])
def test_a_line_that_cannot_be_set_so_is_said(wrong: LineSettings) -> None:
    async def use(peer: Peer) -> str:
        with pytest.raises(Unreachable) as caught:
            await Session("left", peer.address, wire.connect, SessionSettings(line=wrong)).open()
        return str(caught.value)

    assert str(wrong.baud if wrong.data_bits == 8 else wrong.data_bits) in with_peer(use)


@pytest.mark.parametrize(
    ("settings", "byte"),
    [
        (LineSettings(), 10 / 9600),
        (LineSettings(1200, 7, "even", 2), 11 / 1200),
        (LineSettings(4800, 8, "odd"), 11 / 4800),
    ],
)
def test_a_byte_takes_its_bits(settings: LineSettings, byte: float) -> None:
    assert settings.byte_time == pytest.approx(byte)
    assert str(settings.baud) in described(settings)


def test_a_line_has_one_user() -> None:
    """Two readers would take answers from each other; whoever comes second is told."""

    async def use(peer: Peer) -> str:
        device = device_of(peer.address)
        assert device is not None
        _, first = await open_line(device, FAST.line)
        with pytest.raises(Unreachable) as caught:
            await Session("left", peer.address, wire.connect, FAST).open()
        first.close()
        second = Session("left", peer.address, wire.connect, FAST)
        await second.open()
        second.close()
        return str(caught.value)

    assert "another program" in with_peer(use)


def test_a_line_that_stands_still_holds_nobody_up() -> None:
    """Flow control, or an instrument that is off: the system takes no more; nothing waits for it."""

    async def go() -> tuple[float, bool]:
        near, far = os.openpty()
        tty.setraw(far)
        device = os.ttyname(far)
        reader, writer = await open_line(device, FAST.line)
        writer.write(b"x" * 200_000)
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(0.2):
                await writer.drain()
        began = time.monotonic()
        writer.close()
        took = time.monotonic() - began
        os.close(near)
        os.close(far)
        return took, await reader.read() == b""

    took, ended = asyncio.run(go())
    assert took < 0.1
    assert ended


def test_what_was_thrown_away_with_a_line_is_not_waited_for() -> None:
    """200 000 bytes take 17 s at 115200 Bd; those that never left held up what switched off afterwards."""
    peer = Peer()

    async def use(_: Peer) -> Any:
        asyncio.get_running_loop().remove_reader(peer.near)
        _, writer = await open_line(str(device_of(peer.address)), FAST.line)
        writer.write(b"x" * 200_000)
        writer.close()
        termios.tcflush(peer.far, termios.TCIOFLUSH)
        peer.listen()
        return await switched_off(plan_for(peer), peer)

    end, took = with_peer(use, peer)
    assert end.confirmed
    assert took < 1.0


@pytest.mark.parametrize("while_asked", [False, True])
def test_a_line_that_is_pulled_out_is_an_error_at_once(while_asked: bool) -> None:
    async def go() -> tuple[str, float]:
        peer = Peer()
        session = Session("left", peer.address, wire.connect, FAST)
        await session.open()
        loop = asyncio.get_running_loop()
        if while_asked:
            loop.call_later(0.05, peer.close)
        else:
            peer.close()
            await asyncio.sleep(0.05)
        began = loop.time()
        with pytest.raises(SessionError) as caught:
            await session.ask("*IDN?", 5.0)
        session.close()
        return str(caught.value), loop.time() - began

    told, took = asyncio.run(go())
    assert "connection is lost" in told
    assert took < 0.5


def test_no_such_device_is_said() -> None:
    async def go() -> str:
        with pytest.raises(Unreachable) as caught:
            await Session("left", "ASRL/dev/no-such-line::INSTR", wire.connect).open()
        return str(caught.value)

    assert "ASRL/dev/no-such-line::INSTR" in asyncio.run(go())


def test_whoever_may_not_use_a_line_is_told_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: Any) -> int:
        raise PermissionError(13, "Permission denied")

    async def use(peer: Peer) -> str:
        monkeypatch.setattr(os, "open", refuse)
        with pytest.raises(Unreachable) as caught:
            await Session("left", peer.address, wire.connect).open()
        return str(caught.value)

    told = with_peer(use)
    assert says(told, "permission", "group")


def test_a_file_that_is_no_line_is_said(tmp_path: Any) -> None:
    (tmp_path / "file").write_text("")

    async def go() -> str:
        with pytest.raises(Unreachable) as caught:
            await Session("left", f"ASRL{tmp_path}/file::INSTR", wire.connect).open()
        return str(caught.value)

    assert "no serial line" in asyncio.run(go())


@pytest.mark.parametrize("fragment", [b"", b"O", b"ON", b"VOLT 1.2", b"OFF", b"*IDN"])
def test_what_somebody_began_to_say_is_never_completed_by_off(fragment: bytes) -> None:
    """A process that was killed left `ON` of `ONCE` in the instrument: OFF made it a whole message, or was
    part of another.
    """
    peer = Peer(held=fragment)
    end, took = with_peer(lambda _: switched_off(plan_for(peer), peer), peer)
    assert end.confirmed
    assert not peer.on
    assert peer.took[0] == fragment.decode() + "@"
    assert set(peer.took[1:]) == {"OFF", "*IDN?", "LOOK?"}
    assert took < 1.5


def test_one_that_was_deaf_is_switched_off_when_it_hears_again() -> None:
    peer = Peer()
    peer.deaf = True

    async def use(_: Peer) -> Any:
        asyncio.get_running_loop().call_later(1.2, lambda: setattr(peer, "deaf", False))
        asyncio.get_running_loop().call_later(1.25, os.write, peer.far, b"")
        return await switched_off(replace(plan_for(peer), lost=5.0), peer)

    end, took = with_peer(use, peer)
    assert end.confirmed
    assert took < 5.0


@pytest.mark.parametrize("fragment", [b"", b"\xfe\x91\xa5", b"ON", b"VOLT 1.2", b"*IDN"])
def test_the_first_question_is_asked_again_after_what_was_left_on_the_line(fragment: bytes) -> None:
    """A program at another speed, or one that was killed, left a piece of a message in the instrument."""
    peer = Peer(held=fragment)
    peer.on = False
    told: list[dict[str, Any]] = []

    async def use(_: Peer) -> None:
        guard = Guard(wire.connect, told.append)
        opening = {
            "kind": "open",
            "id": 1,
            "name": "left",
            "address": peer.address,
            "identify": "*IDN?",
            "session_settings": asdict(FAST),
            "deadline": 0.5,
        }
        guard.handle(opening)
        for _turn in range(40):
            await asyncio.sleep(0.05)
            if any(each["kind"] == "answer" for each in told):
                break
        guard.close()

    with_peer(use, peer)
    (answer,) = (each for each in told if each["kind"] == "answer")
    assert answer["answer"] == "maker,model,1,0"
    left = fragment.decode("latin-1")
    assert peer.took == ([left + "*IDN?", "@", "*IDN?"] if fragment else ["*IDN?"])
    assert not peer.on


@pytest.mark.slow
def test_a_line_that_the_guard_opens_anew_brings_no_answer_from_before() -> None:
    """`dialect try` took an answer that came late for that to its next question."""
    peer = Peer()
    told: list[dict[str, Any]] = []

    async def use(_: Peer) -> list[str]:
        guard = Guard(wire.connect, told.append)
        opening = {
            "kind": "open",
            "name": "left",
            "address": peer.address,
            "identify": "*IDN?",
            "session_settings": asdict(FAST),
            "deadline": 2.0,
        }
        guard.handle({**opening, "id": 1})
        await asyncio.sleep(1.0)
        peer.late = [0.7]
        question = {"kind": "exchange", "name": "left", "text": "LOOK?", "answers": True, "deadline": 0.6}
        guard.handle({**question, "id": 2})
        await asyncio.sleep(0.65)
        guard.handle({**opening, "id": 3})
        await asyncio.sleep(0.3)
        guard.handle({**question, "text": "*IDN?", "id": 4})
        await asyncio.sleep(0.7)
        guard.close()
        return [str(each.get("answer", each.get("error"))) for each in told if each["kind"] == "answer"]

    first, second, third, fourth = with_peer(use, peer)
    assert first == third == fourth == "maker,model,1,0"
    assert says(second, "0.6 s")


@pytest.mark.slow
@pytest.mark.parametrize(
    "late", [[1.3], [1.3, 1.3], [0.0, 1.25], [0.0, 1.2, 1.2], [0.0, 1.15, 0.0, 1.1], [0.7, 0.7, 0.7]]
)
def test_answers_that_come_too_late_are_not_taken_for_those_to_the_next_questions(late: list[float]) -> None:
    """A line that is opened anew still brings the answers to what was asked before."""
    peer = Peer()
    peer.late = [*late]
    end, took = with_peer(lambda _: switched_off(replace(plan_for(peer), lost=10.0), peer), peer)
    assert end.confirmed
    assert not peer.on
    assert took < 2.0 + 2.0 * sum(late)


@pytest.mark.slow
def test_off_goes_out_although_the_one_who_held_the_line_was_killed() -> None:
    """Its lock ends with it, and what it had begun to say is spoiled."""
    peer = Peer()
    code = (
        "import asyncio, os, sys, time\n"
        "from railwright.guard.serial_line import open_line\n"
        "from railwright.guard.session_settings import LineSettings\n"
        "async def go():\n"
        "    _, writer = await open_line(sys.argv[1], LineSettings(115200))\n"
        "    writer.write(b'ON')\n"
        "    print('here', flush=True)\n"
        "    time.sleep(60)\n"
        "asyncio.run(go())\n"
    )
    child = subprocess.Popen(
        [sys.executable, "-c", code, str(device_of(peer.address))], stdout=subprocess.PIPE, text=True
    )
    assert child.stdout is not None
    child.stdout.readline()
    child.kill()
    child.wait()
    child.stdout.close()
    end, took = with_peer(lambda _: switched_off(plan_for(peer), peer), peer)
    assert end.confirmed
    assert "ON" not in peer.took
    assert took < 1.5


@pytest.mark.parametrize(
    ("address", "device"),
    [
        ("ASRL/dev/ttyUSB0::INSTR", "/dev/ttyUSB0"),
        ("asrl/dev/ttyS1", "/dev/ttyS1"),
        (f"ASRL{BY_PATH}::INSTR", BY_PATH),
        ("ASRL./left.tty::INSTR", "./left.tty"),
        ("ASRL1::INSTR", None),
        ("ASRLCOM3::INSTR", None),
        ("TCPIP::192.0.2.10::5025::SOCKET", None),
    ],
)  # fmt: skip
def test_a_line_is_known_by_its_device(address: str, device: str | None) -> None:
    assert device_of(address) == device
    assert (transport_of(address) == "serial") is (device is not None)
    assert transport_of(address, SessionSettings(visa="@ivi")) == "library"


def test_two_names_of_one_line_are_one_place(tmp_path: Any) -> None:
    near, far = os.openpty()
    (tmp_path / "left").symlink_to(os.ttyname(far))
    try:
        place = normalised(f"ASRL{tmp_path}/left::INSTR")
        assert place == normalised(f"ASRL{os.ttyname(far)}") == normalised(place)
    finally:
        os.close(near)
        os.close(far)


@pytest.mark.parametrize(
    "address",
    [
        "TCPIP::no-such-host.invalid::5025::SOCKET",
        "TCPIP::127.0.0.1::hislip0,4881::INSTR",
        "TCPIP::127.0.0.1::inst0::INSTR",
        "ASRL/dev/Line::INSTR",
    ],
)
def test_a_place_is_its_own_place(address: str) -> None:
    """`railwright off` did not find the guard that held a line: its lock went by another spelling."""
    assert normalised(normalised(address)) == normalised(address)


def test_closing_twice_is_closing() -> None:
    async def use(peer: Peer) -> bool:
        device = device_of(peer.address)
        assert device is not None
        _, writer = await open_line(device, FAST.line)
        assert isinstance(writer, LineWriter)
        writer.close()
        writer.close()
        writer.write(b"x")
        return writer.is_closing()

    assert with_peer(use)
