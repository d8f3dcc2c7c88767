"""A quay-side bench that runs already, and a log of it, in one virtual time."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable, Coroutine, Sequence
from pathlib import Path
from typing import Any, Self

from tests.running.stage import OUTPUT

from railwright.documents.loader import load_documents
from railwright.guard.local_link import LocalLink
from railwright.guard.session_settings import USUAL, SessionSettings
from railwright.instruments.guarded import open_guarded
from railwright.instruments.supply import OutputSetting, SupplyDriver
from railwright.running.interruption import StopRequest
from railwright.twin.mischief.script import parse_mischief
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop
from railwright.watching.bench_watch import BenchWatch, WatchOutcome, WatchProgress
from railwright.watching.order import order_of

UNIX = 1_780_000_000.0
"""What the clock of the wall says when the virtual clock says 0 [s]."""

BENCH = """\
bench: Quay bench
location: dry
ambient: 23 °C
supplies:
  left:
    address: TCPIP::127.0.0.1::5025::SOCKET
    dialect: channel-list
    outputs: {1: OUTPUT, 2: {same_as: 1}}
  right:
    address: TCPIP::127.0.0.1::5026::SOCKET
    dialect: numbered-header
    outputs: {1: OUTPUT, 2: {same_as: 1}}
leads:
  pair: {conductor: AWG 18, one_way_length: 1 m}
"""

DEVICE = """\
device: Tide gauge's logger
inputs:
  main:
    nominal: 12 V
    operating: 9 V .. 15 V
    return: isolated
    load: [{resistor: {resistance: 24 ohm}}, {capacitor: {capacitance: 200 uF}}]
"""

PROCEDURE = """\
procedure: Whatever
device: piece.device.yaml
bench: quay.bench.yaml
hook_up:
  main: {from: left.1, lead: pair, sense: at terminals}
limits:
  main: {current_limit: 1 A, at_limit: trip, trip_delay: 20 ms, ovp: 20 V}
steps:
  - hold: 1 s
record: {every: 20 ms}
"""


class Heard(WatchProgress):
    def __init__(self) -> None:
        self.lines: list[str] = []

    def event(self, line: str) -> None:
        self.lines.append(line)


class Station:
    """The bench's simulated supplies with left.1 at 12 V and 0.5 A through 24 ohms, and a log of it."""

    def __init__(self, folder: Path, mischief: Sequence[str] = (), bench: str = BENCH, **more: Any) -> None:
        (folder / "quay.bench.yaml").write_text(bench.replace("OUTPUT", OUTPUT), "utf-8")
        (folder / "piece.device.yaml").write_text(DEVICE, "utf-8")
        (folder / "short.procedure.yaml").write_text(PROCEDURE, "utf-8")
        self.folder = folder
        documents = load_documents(folder / "short.procedure.yaml")
        self.bench = documents.bench
        self.loop = VirtualLoop()
        self.network = VirtualNetwork(
            self.loop,
            documents.bench,
            documents.device,
            documents.procedure,
            mischief=parse_mischief(mischief, documents.bench.supplies),
            **more,
        )
        self.stop, self.heard = StopRequest(), Heard()
        self.progress: WatchProgress = self.heard
        self.links: list[LocalLink] = []
        self.connections: list[str] = []
        self.sent: list[str] = []
        """What the log itself connected to, and told supplies."""
        self.shift = 0.0
        """By how much the clock of the wall was set [s]."""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.network.close()
        self.loop.close()
        self.stop.close()

    def set(self, output: str, voltage: float, *, on: bool = True, limit: float = 2.0) -> None:
        """As somebody else does over a session of their own."""
        supply, own = output.split(".")
        link = LocalLink(self.loop, self.network.connect)
        driver = SupplyDriver(supply, self.bench.supplies[supply], open_guarded(link))
        driver.connect()
        driver.put(
            [
                OutputSetting(own, "voltage", voltage),
                OutputSetting(own, "current_limit", limit),
                OutputSetting(own, "output", on),
            ]
        )
        link.sleep(0.2)
        link.close()

    def turn(self, after: float, output: str, voltage: float) -> None:
        """So long from now [s], the knob of an output at another voltage."""

        def act() -> None:
            server = self.network.servers[output.split(".")[0]]
            server.catch_up()
            server.supply.plant.set_voltage(output, voltage)

        self.meanwhile(after, act)

    def link(self) -> LocalLink:
        self.links.append(LocalLink(self.loop, self._connect))
        return self.links[-1]

    async def _connect(self, address: str, settings: SessionSettings = USUAL) -> Any:
        """As the network does; what is written there is noted."""
        self.connections.append(address)
        reader, writer = await self.network.connect(address, settings)
        write = writer.write

        def noted(data: bytes) -> None:
            self.sent.extend(data.decode("latin-1").splitlines())
            write(data)

        writer.write = noted  # type: ignore[method-assign]
        return reader, writer

    def meanwhile(self, after: float, act: Callable[[], object]) -> None:
        """Do something so long [s] from now."""
        self.loop.call_later(after, act)

    def beside(self, work: Coroutine[Any, Any, Any]) -> asyncio.Task[Any]:
        return self.loop.create_task(work)

    def watch(self, *outputs: str, **asked: Any) -> WatchOutcome:
        order = order_of(self.bench, outputs, **asked)
        made = BenchWatch(
            self.bench,
            order,
            self.folder / "log",
            link=self.link,
            guard_at=lambda address: None,
            offset=lambda: UNIX + self.shift,
            stop=self.stop,
            progress=self.progress,
        )
        return made.go()

    def rows(self, number: int = 1) -> list[dict[str, str]]:
        """Of a CSV file, as any program would read them."""
        import csv

        with open(self.folder / "log" / f"rows-{number:04d}.csv", newline="", encoding="utf-8") as file:
            return list(csv.DictReader(file))

    def json(self, name: str) -> Any:
        return json.loads((self.folder / "log" / name).read_text("utf-8"))

    def events(self) -> list[dict[str, Any]]:
        text = (self.folder / "log" / "events.ndjson").read_text("utf-8")
        return [json.loads(line) for line in text.splitlines()]
