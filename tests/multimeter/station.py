"""The tide-gauge station with multimeters at its inputs."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from tests.truth.saying import head, station

from railwright.archive.stored import StoredRun, evaluate_run, open_stored
from railwright.evaluation.outcome import Evaluation
from railwright.guard.local_link import LocalLink
from railwright.job import Job
from railwright.records import lines
from railwright.records.names import LOG
from railwright.running.runner import run
from railwright.settings.data import as_data
from railwright.twin.faults import parse_faults
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop

VOLTMETER = """
  volts:
    address: TCPIP::127.0.0.1::5030::SOCKET
    serial: M-0012
    calibrated: {on: 2026-06-01, due: 2027-06-01, certificate: QB-26-071}
    voltage: {range: 20 V, of_value: 0.003 %, offset: 0.3 mV, resolution: 0.01 mV, noise: 0.01 mV}
    aperture: 20 ms
    interval: 50 ms
"""
AMMETER = """
  amperes:
    address: TCPIP::127.0.0.1::5031::SOCKET
    current: {range: 2 A, of_value: 0.02 %, offset: 0.05 mA, resolution: 0.01 mA, noise: 0.01 mA}
    aperture: 20 ms
    interval: 50 ms
"""
STEPS = """  - hold: 3 s
    name: steady
  - power_down: {order: [transducer, main], gap: 20 ms}
record: {every: 10 ms}
requires:
"""


def documents(
    folder: Path,
    requires: str,
    *,
    meters: str = VOLTMETER,
    probes: str = "{volts: {of: main}}",
    edits: Mapping[str, list[tuple[str, str]]] | None = None,
) -> Path:
    """A procedure that powers the station up, holds it for 3 s, and requires something of that."""
    text = f"procedure: with a multimeter\n{head()}{STEPS}{requires}"
    text = text.replace("\nlimits:", f"\nmultimeters: {probes}\nlimits:", 1)
    more = {"quay.bench.yaml": [("\nleads:\n", f"\nmultimeters:{meters}\nleads:\n")]}
    for name, pairs in (edits or {}).items():
        more[name] = [*pairs, *more.get(name, [])]
    return station(folder, text, more)


@contextmanager
def network_of(
    procedure: Path,
    *,
    seed: int = 1,
    faults: tuple[str, ...] = (),
    overrides: Mapping[str, str] | None = None,
) -> Iterator[tuple[Job, VirtualNetwork, VirtualLoop]]:
    """Simulated supplies and multimeters of a procedure, in virtual time."""
    job, loop = Job.open(procedure), VirtualLoop()
    own = job.documents
    wrong = parse_faults(faults, tuple(own.device.inputs))
    with VirtualNetwork(
        loop, own.bench, own.device, own.procedure, seed=seed, faults=wrong, overrides=overrides
    ) as network:
        yield job, network, loop


def played(
    procedure: Path,
    *,
    seed: int = 1,
    faults: tuple[str, ...] = (),
    overrides: Mapping[str, str] | None = None,
) -> tuple[StoredRun, Evaluation]:
    """The run of a procedure with multimeters, and what is said of it."""
    with network_of(procedure, seed=seed, faults=faults, overrides=overrides) as (job, network, loop):
        stored = open_stored(run_in(job, network, loop, procedure.parent / f"run-{seed}"))
    return stored, evaluate_run(stored, [])


def run_in(job: Job, network: VirtualNetwork, loop: VirtualLoop, folder: Path) -> Path:
    """Play a job on simulated instruments; gives the folder of its run."""
    settings = job.check(static=True).settings
    run(
        job.documents, settings.set_points, unit="T-1", operator="O", folder=folder,
        settings=as_data(settings), link=LocalLink(loop, network.connect),
    )  # fmt: skip
    return folder


def zero_of(folder: Path) -> float:
    """Where the record of a run begins on the clock of the simulated instruments [s]."""
    told = [json.loads(line) for line in (folder / LOG).read_text("utf-8").splitlines()]
    shifts = sum(line["shift"] for line in told if line["kind"] == lines.ZERO)
    return float(next(line["clock"] for line in told if line["kind"] == lines.RUN) + shifts)
