"""A small bench of two fake supplies with a short procedure, as documents on disk and as a run."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.instruments.fake_supply import FakeSupply

from railwright.documents.loader import Documents, load_documents
from railwright.documents.output_name import OutputName
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.running.outcome import Progress, RunOutcome
from railwright.running.runner import run

DEVICE = """\
device: Test piece
inputs:
  main:
    nominal: 12 V
    operating: 5 V .. 16 V
    return: isolated
    load: [{resistor: {resistance: 40 ohm}}]
  aux:
    nominal: 5 V
    operating: 4 V .. 6 V
    return: isolated
    load: [{resistor: {resistance: 40 ohm}}]
"""

OUTPUT = """{voltage: 0 V .. 36 V, current: 0 A .. 2.5 A, power: 60 W, slew: 1 V/s .. 10 V/ms,
        programming: {voltage: {resolution: 1 mV}, current: {resolution: 1 mA}},
        reading: {voltage: {resolution: 1 mV}, current: {resolution: 1 mA}, update: 10 ms, latency: 2 ms},
        opp: {level: 1 W .. 66 W}, ocp: {level: 0 A .. 2.75 A, delay: 0 s .. 1 s},
        ovp: {level: 1 V .. 38 V}, trip_delay: 1 ms .. 5 s, sense: {compensates: 1 V}}"""

BENCH = """\
bench: Test bench
location: dry
ambient: 23 °C ± 3 °C
laboratory: {{name: A laboratory, address: Somewhere}}
supplies:
  left:
    address: {left}
    dialect: channel-list
    serial: S-1
    calibrated: {{on: 2026-03-02, due: 2027-03-02, certificate: C-1}}
    outputs:
      1: {output}
      2: {output}
  right:
    address: {right}
    dialect: selected-output
    outputs:
      1: {output}
leads:
  pair: {{conductor: AWG 18, one_way_length: 1 m}}
"""

PROCEDURE = """\
procedure: A short one
device: ../devices/piece.device.yaml
bench: ../bench.yaml
hook_up:
  main: {from: left.1, lead: pair, sense: at load}
  aux: {from: right.1, lead: pair, sense: at terminals}
limits:
  main: {current_limit: 1 A, at_limit: trip, trip_delay: 40 ms, ovp: 18 V,
         opp: 20 W, ocp: 900 mA, ocp_delay: 60 ms}
  aux: {current_limit: 500 mA, at_limit: trip, trip_delay: 20 ms, ovp: 7 V, opp: 3 W,
        ocp: 400 mA, ocp_delay: 30 ms, trips_when: [main]}
steps:
  - power_up: {order: [main, aux], gap: 50 ms, rise: 2 V/ms, settle: 30 ms}
    name: first power
  - hold: 100 ms
    name: steady
  - sweep: {input: main, from: 9 V, to: 12 V, points: 3, dwell: 40 ms}
    name: sweep
  - power_down: {order: [aux, main], gap: 20 ms}
record: {every: 10 ms}
"""

SET_POINTS = {
    "main": Feed(
        "main",
        "alone",
        (OutputSetPoints(OutputName("left.1"), 1.0, "trip", 0.04, 18.0, opp=20.0, ocp=0.9, ocp_delay=0.06),),
        "pair",
        "at load",
    ),
    "aux": Feed(
        "aux",
        "alone",
        (OutputSetPoints(OutputName("right.1"), 0.5, "trip", 0.02, 7.0, opp=3.0, ocp=0.4, ocp_delay=0.03),),
        "pair",
        "at terminals",
        ("main",),
    ),
}


@dataclass
class Told(Progress):
    """Keeps what a run tells."""

    said: list[str] = field(default_factory=list)
    at_step: dict[str, Callable[[], object]] = field(default_factory=dict)

    def preparing(self, text: str) -> None:
        self.said.append(text)

    def step_started(self, span: Any, position: int) -> None:
        self.said.append(f"step {position}: {span.name}")
        if span.name in self.at_step:
            self.at_step[span.name]()

    def event(self, event: Any) -> None:
        self.said.append(f"{event.subject}: {event.what}")


@dataclass
class Small:
    """Two fakes, their documents, and a way to run them."""

    left: FakeSupply
    right: FakeSupply
    folder: Path
    documents: Documents
    told: Told = field(default_factory=Told)

    def run(self, **options: Any) -> RunOutcome:
        given = {"unit": "U-7", "operator": "An operator", "timeout": 0.5, "wait_for_lost": 1.0}
        given |= {"folder": self.folder / "run", "progress": self.told, "decay_limit": 1.0, **options}
        return run(self.documents, SET_POINTS, **given)

    def during_steady(self, what: Callable[[], object]) -> None:
        """Have something happen while everything is on."""
        self.told.at_step["steady"] = what

    @property
    def everything_off(self) -> bool:
        return not any(output.on for fake in (self.left, self.right) for output in fake.outputs.values())

    @property
    def ever_on(self) -> bool:
        return any(
            unit.startswith("OUTPut:STATe ON") for fake in (self.left, self.right) for unit in fake.units
        )


def write(folder: Path, left: str, right: str, procedure: str = PROCEDURE) -> Path:
    """The documents in a folder; gives the procedure's path."""
    for name in ("devices", "procedures"):
        (folder / name).mkdir()
    (folder / "devices" / "piece.device.yaml").write_text(DEVICE, "utf-8")
    (folder / "bench.yaml").write_text(BENCH.format(left=left, right=right, output=OUTPUT), "utf-8")
    path = folder / "procedures" / "short.procedure.yaml"
    path.write_text(procedure, "utf-8")
    return path


@contextmanager
def small(folder: Path, procedure: str = PROCEDURE) -> Iterator[Small]:
    """Fakes that run while this lasts."""
    with FakeSupply(channels=2) as left, FakeSupply(selected=True) as right:
        path = write(folder, left.address, right.address, procedure)
        yield Small(left, right, folder, load_documents(path))
