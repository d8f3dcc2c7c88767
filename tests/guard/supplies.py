"""Supplies of a few lines in virtual time, and the off plan for them."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from railwright.guard.input_end import InputEnd
from railwright.guard.off import SwitchOff
from railwright.guard.off_plan import InputOff, OffPlan, OutputOff, SupplyOff
from railwright.guard.session import Session
from railwright.guard.session_settings import SessionSettings
from railwright.virtual_time import MemoryWriter, VirtualLoop, memory_streams

IDENTITY = "maker,model,1,0"


@dataclass
class FakeOutput:
    """An output that is on at 12 V. ignores: OFFs that do nothing. fall: time constant of its voltage [s].

    back: it comes on again by itself so long after it went off [s]; stuck: and stays on then; again: each
    time that it goes off. floor: voltage that remains [V]; floor_later: another one, so long after it went
    off [s, V]. current: read whatever its state [A]; None: 0.5 A while it is on.
    """

    on: bool = True
    voltage: float = 12.0
    ignores: int = 0
    back: float | None = None
    stuck: bool = False
    again: bool = False
    floor: float = 0.0
    floor_later: tuple[float, float] | None = None
    current: float | None = None
    went_off: float | None = None

    def off(self, now: float) -> None:
        if self.ignores:
            self.ignores -= 1
        elif self.on:
            self.on, self.went_off = False, now

    def look(self, now: float) -> str:
        if self.back is not None and self.went_off is not None and now - self.went_off >= self.back:
            self.on, self.back = True, self.back if self.again else None
            self.ignores = 10_000 * self.stuck
        if self.floor_later and self.went_off is not None and now - self.went_off >= self.floor_later[0]:
            self.floor = self.floor_later[1]
        current = self.current if self.current is not None else 0.5 * self.on
        return f"{int(self.on)};{self.voltage if self.on else self.floor};{current}"


@dataclass
class FakeSupply:
    """A supply: `OFF n`, `VOLT n x`, `LOOK?`, `*IDN?`, `DOG 0`, `DOG?`. took: (when [s], message).

    silent: spans in which it takes nothing and gives no answer [s, from the beginning]. gone: spans in which
    connections are closed and refused. slow: time of each message [s]. garbage: so many looks are answered
    well, then one is not, and so on; 0: all are answered well. wants: silence that it wants before a message,
    since it was spoken to or spoke itself [s]; what comes sooner it does not take. mute: it answers nothing
    before it is told to be remote. back: it takes nothing for so long after it was gone, and is on again then
    [s]. other_at: from then on another instrument is there [s]. reads: what it answers to `READ?`, a
    multimeter's question, by the time [s].
    """

    outputs: list[FakeOutput] = field(default_factory=lambda: [FakeOutput()])
    identity: str = IDENTITY
    silent: tuple[float, float] = (0.0, 0.0)
    gone: tuple[float, float] = (0.0, 0.0)
    slow: float = 0.0
    garbage: int = 0
    looks: int = 0
    wants: float = 0.0
    mute: bool = False
    back: float = 0.0
    other_at: float = float("inf")
    reads: Callable[[float], str] = lambda now: "0"
    remote: bool = False
    spoke: float = -1.0
    watchdog: str = "1"
    took: list[tuple[float, str]] = field(default_factory=list)
    began: float = float("inf")
    lines: list[MemoryWriter] = field(default_factory=list)

    def is_in(self, span: tuple[float, float], now: float) -> bool:
        return span[0] <= now - self.began < span[1]

    async def serve(self, reader: asyncio.StreamReader, writer: MemoryWriter) -> None:
        loop = asyncio.get_running_loop()
        self.lines.append(writer)
        while line := (await reader.readline()).decode().strip():
            if self.is_in(self.gone, loop.time()) or self.is_in(self.silent, loop.time()):
                continue
            if self.is_in((self.gone[1], self.gone[1] + self.back), loop.time()):
                continue
            too_soon, self.spoke = loop.time() - self.spoke < self.wants, loop.time()
            if too_soon:
                continue
            await asyncio.sleep(self.slow)
            now = loop.time()
            self.took.append((now - self.began, line))
            word, *rest = line.split()
            if word.startswith("SYSTem:"):
                self.remote = word == "SYSTem:REMote"
            elif "?" in line and self.mute and not self.remote:
                continue
            elif word == "OFF":
                self.outputs[int(rest[0])].off(now)
            elif word == "VOLT":
                self.outputs[int(rest[0])].voltage = float(rest[1])
            elif word == "DOG":
                self.watchdog = rest[0]
            else:
                identity = self.identity if now - self.began < self.other_at else "Another,M,9,9"
                shown = {"*IDN?": identity, "DOG?": self.watchdog, "READ?": self.reads(now - self.began)}
                looks = ";".join(output.look(now) for output in self.outputs)
                self.looks += word == "LOOK?"
                if self.garbage and self.looks % (self.garbage + 1) == self.garbage:
                    looks = "?"
                writer.write(f"{shown.get(word, looks)}\n".encode())
                self.spoke = now

    def come_back(self) -> None:
        """Through with what it does after its mains came back: outputs are on as they were."""
        for each in self.outputs:
            each.on, each.went_off = True, None

    def when(self, message: str) -> list[float]:
        """When it took a message [s]."""
        return [at for at, each in self.took if each == message]


def output(supply: str, number: int = 0, **more: Any) -> OutputOff:
    """Output `number` of a supply of this file."""
    first = 3 * number
    places = {"state": (first, 0), "voltage": (first + 1, 0), "current": (first + 2, 0)}
    return OutputOff(
        f"{supply}.{number}",
        supply,
        (f"OFF {number}",),
        no_current=0.01,
        set_voltage=(f"VOLT {number} {{}}",),
        **{**places, **more},
    )


def fed(name: str, supply: str, number: int = 0, **more: Any) -> InputOff:
    """An input that one output feeds."""
    return InputOff(name, (output(supply, number),), series=False, below=1.0, **more)


def network(loop: VirtualLoop, supplies: dict[str, FakeSupply]) -> Any:
    """What connects to these supplies, each at its name."""

    async def connect(address: str, _session_settings: SessionSettings) -> Any:
        supply = supplies[address]
        if supply.is_in(supply.gone, loop.time()):
            raise ConnectionRefusedError
        near, far = memory_streams(loop)
        loop.create_task(supply.serve(*far))
        return near

    return connect


def supply_off(name: str, identity: str = IDENTITY, watchdog: bool = False) -> SupplyOff:
    """How a supply of this file is looked at."""
    return SupplyOff(name, name, "*IDN?", identity, ("LOOK?",), ("DOG 0", "DOG?") if watchdog else ())


def switched_off(
    plan: OffPlan,
    supplies: dict[str, FakeSupply],
    *,
    pause: float = 0.0,
    spoken: SessionSettings | None = None,
    orderly: bool = False,
    hurry_at: float | None = None,
) -> tuple[dict[str, InputEnd], float, list[tuple[float, str, dict[str, Any]]]]:
    """A plan carried out in virtual time: how each input ended, how long it took [s], and (when [s], what,
    fields) of all that was told.
    """
    loop, told = VirtualLoop(), list[tuple[float, str, dict[str, Any]]]()
    connect = network(loop, supplies)

    async def go() -> tuple[dict[str, InputEnd], float]:
        sessions = {
            name: Session(name, name, connect, spoken or SessionSettings(pause=pause)) for name in supplies
        }
        for session in sessions.values():
            await session.open()
        began = loop.time()
        for supply in supplies.values():
            supply.began = began
            if supply.gone[1]:
                loop.call_at(began + supply.gone[0], lambda own=supply: [each.close() for each in own.lines])
            if supply.back:
                loop.call_at(began + supply.gone[1] + supply.back, supply.come_back)
        if any(supply.gone[0] < 0.0 < supply.gone[1] for supply in supplies.values()):
            await asyncio.sleep(1e-3)  # that it is gone has come by then
        off = SwitchOff(
            plan, sessions, lambda what, fields: told.append((loop.time() - began, what, dict(fields)))
        )
        if hurry_at is not None:
            loop.call_at(began + hurry_at, off.hurry)
        ends = await off.go(orderly=orderly)
        took = loop.time() - began
        for session in sessions.values():
            session.close()
        await asyncio.sleep(0.01)
        return ends, took

    return *loop.complete(go()), told
