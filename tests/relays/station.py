"""The tide-gauge station with a relay in the lead of its main input."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from tests.multimeter.station import network_of
from tests.truth.saying import station

from railwright.guard.local_link import LocalLink
from railwright.running.outcome import RunOutcome
from railwright.running.runner import run
from railwright.settings.data import as_data

RELAYS = """
relays:
  switchbox:
    address: TCPIP::127.0.0.1::5040::SOCKET
    model: QS-4
    serial: R-0007
    contacts:
      gate: {channel: 101, fixture: main gate, without_power: open, voltage: 30 V, current: 5 A,
             operate: 12 ms, release: 8 ms}
fixtures:
  main gate: {switch: {starts: open, resistance: 20 mohm ± 50 %}}
"""
STEPS = """  - relays: {close: [gate], settle: 50 ms}
    name: connect
  - power_up: {order: [main, transducer], gap: 50 ms, rise: 2 V/ms, settle: 150 ms}
    name: up
  - hold: 1 s
    name: steady
  - power_down: {order: [transducer, main], gap: 20 ms}
    name: down
  - relays: {open: [gate], settle: 100 ms}
    name: disconnect
  - hold: 500 ms
    name: apart
"""
REQUIRES = """  - {name: level, measure: high_state_level, of: main, during: steady, at_least: 11.8 V}
"""
HEAD = """procedure: through a relay
device: tide-gauge.device.yaml
bench: quay.bench.yaml
hook_up:
  main: {from: left.1, lead: silicone pair, fixture: main gate, sense: at terminals}
  transducer: {from: right.1, lead: thin pair, sense: at terminals}
limits:
  main: {current_limit: 1.5 A, at_limit: regulate, ovp: 18 V}
  transducer: {current_limit: 100 mA, at_limit: trip, trip_delay: 60 ms, ovp: auto}
steps:
"""
LEFT, RIGHT = "left.1", "right.1"


def documents(
    folder: Path,
    *,
    steps: str = STEPS,
    requires: str = REQUIRES,
    relays: str = RELAYS,
    head: str = HEAD,
    edits: Mapping[str, list[tuple[str, str]]] | None = None,
) -> Path:
    """A procedure that connects the station through the contact, powers it up, down, and disconnects it."""
    text = f"{head}{steps}record: {{every: 10 ms}}\nrequires:\n{requires}"
    more = {"quay.bench.yaml": [("\nleads:\n", f"{relays}\nleads:\n")]}
    for name, pairs in (edits or {}).items():
        more[name] = [*pairs, *more.get(name, [])]
    return station(folder, text, more)


def run_of(
    procedure: Path, faults: tuple[str, ...] = (), seed: int = 1
) -> tuple[RunOutcome, dict[str, tuple[tuple[float, float | None], ...]]]:
    """The run of a procedure, which leaves nothing on, and when each output was energised."""
    with network_of(procedure, faults=faults, seed=seed) as (job, network, loop):
        settings = job.check(static=True).settings
        outcome = run(
            job.documents, settings.set_points, unit="T-1", operator="O", folder=procedure.parent / "run",
            settings=as_data(settings), link=LocalLink(loop, network.connect),
        )  # fmt: skip
        ever = {name: network.energised(name) for name in (LEFT, RIGHT)}
        assert not any(network.on(name) for name in (LEFT, RIGHT))
    return outcome, ever
