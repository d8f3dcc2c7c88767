"""A run, its guard and its twins in one virtual time: a radio modem's power amplifier with gate and drain,
and whatever else a test connects.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

from railwright.documents.loader import load_documents
from railwright.documents.output_name import OutputName
from railwright.guard.local_link import LocalLink
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.running.interruption import StopRequest
from railwright.running.outcome import Progress, RunOutcome
from railwright.running.runner import run
from railwright.twin.mischief.script import parse_mischief
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop

OUTPUT = """{voltage: 0 V .. 36 V, current: 0 A .. 2.5 A, power: 60 W,
        programming: {voltage: {resolution: 1 mV}, current: {resolution: 1 mA}},
        reading: {voltage: {offset: 5 mV, resolution: 1 mV}, current: {offset: 2 mA, resolution: 1 mA},
                  update: 10 ms, latency: 2 ms},
        rise: 5 ms, fall: {loaded: 20 ms, unloaded: 200 ms}, bleeder: 1 kohm, output_capacitance: 100 uF,
        ovp: {level: 1 V .. 38 V, response: 200 us}, trip_delay: 1 ms .. 5 s}"""


def wired(name: str, **inputs: tuple[str, str, str]) -> str:
    """How a procedure begins: for each input its output, the lead from there, and its limits."""
    fed = "".join(
        f"  {each}: {{from: {output}, lead: {lead}, sense: at terminals}}\n"
        for each, (output, lead, _) in inputs.items()
    )
    limited = "".join(f"  {each}: {{{limits}}}\n" for each, (*_, limits) in inputs.items())
    head = f"procedure: {name}\ndevice: piece.device.yaml\nbench: quay.bench.yaml\n"
    return f"{head}hook_up:\n{fed}limits:\n{limited}"


BENCH = """\
bench: Quay bench
location: dry
ambient: 23 °C
supplies:
  left:
    address: TCPIP::127.0.0.1::5025::SOCKET
    dialect: channel-list
    WATCHDOG_LEFT
    outputs: {1: OUTPUT, 2: {same_as: 1}}
  right:
    address: TCPIP::127.0.0.1::5026::SOCKET
    dialect: selected-output
    WATCHDOG_RIGHT
    outputs: {1: OUTPUT}
leads:
  pair: {conductor: AWG 18, one_way_length: 1 m}
"""

AMPLIFIER = """\
device: Radio modem amplifier of the tide gauge
inputs:
  gate:
    nominal: 3 V
    operating: 2 V .. 4 V
    return: isolated
    load: [{resistor: {resistance: 300 ohm}}]
  drain:
    nominal: 12 V
    operating: 9 V .. 15 V
    return: isolated
    load: [{resistor: {resistance: 24 ohm}}, {capacitor: {capacitance: 200 uF}}]
"""

AMPLIFIED = """\
procedure: Bias, then power
device: piece.device.yaml
bench: quay.bench.yaml
hook_up:
  gate: {from: left.1, lead: pair, sense: at terminals}
  drain: {from: right.1, lead: pair, sense: at terminals}
limits:
  gate: {current_limit: 50 mA, at_limit: trip, trip_delay: 20 ms, ovp: 6 V, off_after: [drain]GATE}
  drain: {current_limit: 1 A, at_limit: trip, trip_delay: 20 ms, ovp: 20 V, trips_when: [gate]DRAIN}
steps:
  - power_up: {order: [gate, drain], gap: 50 ms, settle: 100 ms}
  - hold: 2 s
    name: steady
  - power_down: {order: [drain, gate], gap: 50 ms}
record: {every: 20 ms}
"""


def points(name: str, output: str, limit: float, ovp: float, trips_when: tuple[str, ...] = ()) -> Feed:
    return Feed(
        name,
        "alone",
        (OutputSetPoints(OutputName(output), limit, "trip", 0.02, ovp),),
        "pair",
        "at terminals",
        trips_when,
    )


GATE_AND_DRAIN = {
    "gate": points("gate", "left.1", 0.05, 6.0),
    "drain": points("drain", "right.1", 1.0, 20.0, ("gate",)),
}


class Stage(Progress):
    """Documents in a folder, twins with mischief, and a run on them."""

    def __init__(
        self,
        folder: Path,
        device: str = AMPLIFIER,
        procedure: str = AMPLIFIED,
        mischief: Sequence[str] = (),
        *,
        gate: str = "",
        drain: str = "",
        watchdogs: tuple[str, str] = ("", ""),
        bench: str = BENCH,
        **more: Any,
    ) -> None:
        bench = bench.replace("OUTPUT", OUTPUT)
        for place, watchdog in zip(("LEFT", "RIGHT"), watchdogs, strict=True):
            bench = bench.replace(f"WATCHDOG_{place}", f"watchdog: {watchdog}" if watchdog else "model: M")
        bench = bench.replace("    model: M\n", "")
        (folder / "quay.bench.yaml").write_text(bench, "utf-8")
        (folder / "piece.device.yaml").write_text(device, "utf-8")
        path = folder / "short.procedure.yaml"
        path.write_text(procedure.replace("GATE", gate).replace("DRAIN", drain), "utf-8")
        self.documents = load_documents(path)
        self.folder = folder
        self.loop = VirtualLoop()
        script = parse_mischief(mischief, self.documents.bench.supplies)
        self.network = VirtualNetwork(
            self.loop,
            self.documents.bench,
            self.documents.device,
            self.documents.procedure,
            mischief=script,
            **more,
        )
        self.stop = StopRequest()
        self.steps: list[str] = []
        self.at_step: dict[str, Callable[[], object]] = {}
        self.lines: list[tuple[str, str, str]] = []

    def run(self, set_points: dict[str, Feed] = GATE_AND_DRAIN, **options: Any) -> RunOutcome:
        given = {"unit": "U-1", "operator": "A. Keeper", "timeout": 1.0, "wait_for_lost": 3.0}
        given |= {"folder": self.folder / "run", "decay_limit": 2.0, "progress": self, **options}
        self.link = LocalLink(self.loop, self.network.connect)
        # A run closes none that it was given: its descriptors go here, not when the collector comes by.
        with closing(self.stop):
            return run(
                self.documents,
                set_points,
                link=self.link,
                stop=self.stop,
                trace=lambda time, name, way, line: self.lines.append((name, way, line)),
                **given,
            )

    def step_started(self, span: Any, position: int) -> None:
        self.steps.append(span.name)
        if span.name in self.at_step:
            self.at_step[span.name]()

    def spans(self, output: str) -> tuple[tuple[float, float | None], ...]:
        """When an output was energised."""
        return self.network.energised(output)

    def is_on(self, output: str) -> bool:
        return any(end is None for _, end in self.spans(output))
