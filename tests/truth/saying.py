"""What is said of one procedure in each place: rehearsed, read by the run, recorded beside it."""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from tests.bench import replaced
from tests.truth.table import CASES

from railwright.archive.stored import ExternalRecording, evaluate_run, open_stored
from railwright.evaluation.outcome import Result
from railwright.examples import example
from railwright.guard.local_link import LocalLink
from railwright.job import Job
from railwright.running.runner import run
from railwright.settings.data import as_data
from railwright.traces import Record
from railwright.twin.recorder import Trigger
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop

RECORDER = "transient recorder"
_HEAD = """device: tide-gauge.device.yaml
bench: quay.bench.yaml
hook_up:
  main:       {from: left.1, lead: silicone pair, sense: at load}
  transducer: {from: right.1, lead: thin pair, sense: at terminals}
limits:
  main: {current_limit: 1.5 A, at_limit: regulate, ovp: OVP}
  transducer: {TRANSDUCER, ovp: auto}
steps:
  - power_up: {order: [main, transducer], gap: 50 ms, rise: 2 V/ms, settle: SETTLE}
    name: up
"""


def head(
    ovp: str = "18 V",
    transducer: str = "current_limit: 100 mA, at_limit: trip, trip_delay: 60 ms",
    settle: str = "150 ms",
) -> str:
    """What a procedure of the station has below its name: hook-up, limits, and the step that powers it up."""
    return _HEAD.replace("OVP", ovp).replace("TRANSDUCER", transducer).replace("SETTLE", settle)


HEAD = head()
WIDE = {"ovp": "19 V", "transducer": "current_limit: 140 mA, at_limit: regulate"}
"""Limits of `head` that leave room for what a standard or a table asks."""

Said = dict[str, tuple[float | None, str]]
"""Requirement -> its value, None where there is none, and its outcome."""


def station(folder: Path, procedure: str, edits: Mapping[str, list[tuple[str, str]]] | None = None) -> Path:
    """The tide-gauge station with a procedure of its own; edits: of a file, what to replace by what, once."""
    shutil.copytree(example(), folder, dirs_exist_ok=True)
    path = folder / "truth.procedure.yaml"
    path.write_text(procedure, "utf-8")
    for name, pairs in (edits or {}).items():
        (folder / name).write_text(replaced((folder / name).read_text("utf-8"), *pairs), "utf-8")
    return path


def case_documents(case: str, folder: Path) -> Path:
    """The documents of a case as it was found, in a folder; beside them the station's, which it may name."""
    for source in (example(), CASES / "hook-up-smallest", CASES / case):
        shutil.copytree(source, folder, dirs_exist_ok=True)
    return folder


@contextmanager
def played(
    procedure: Path, seed: int, sent: list[str] | None = None
) -> Iterator[tuple[VirtualNetwork, Path]]:
    """A procedure played in virtual time on simulated supplies, whatever its check says; the supplies with
    what is true behind them, and the run's folder. sent: takes up every line that a supply was sent.
    """
    job, loop = Job.open(procedure), VirtualLoop()
    documents, settings = job.documents, job.check(static=True).settings
    folder = procedure.parent / f"run-{seed}"
    with VirtualNetwork(loop, documents.bench, documents.device, documents.procedure, seed=seed) as network:
        run(
            documents, settings.set_points, unit="T-1", operator="O", folder=folder,
            settings=as_data(settings), link=LocalLink(loop, network.connect),
            trace=lambda _time, _supply, way, line: (
                sent.append(line) if sent is not None and way == "sent" else None
            ),
        )  # fmt: skip
        yield network, folder


def record_of_run(procedure: Path, seed: int) -> Record:
    """What simulated supplies read while a procedure is played."""
    with played(procedure, seed) as (_, folder):
        return open_stored(folder).data.record


def said_of(procedure: Path, seed: int, of: str = "main") -> dict[str, Said]:
    """What is said of a procedure in each place; the recording begins as the input `of` comes up."""
    rehearsed = Job.open(procedure).rehearse()
    said = {"rehearsed": _said(rehearsed.evaluation.results)}
    with played(procedure, seed) as (network, folder):
        recording = procedure.parent / f"scope-{seed}.csv"
        duration = rehearsed.record.spans[-1].end
        assert network.record(RECORDER, Trigger(of, "voltage", 1.0, "rise", 0.1, duration), recording)
    said["readings"] = _said(evaluate_run(open_stored(folder), []).results)
    beside = [ExternalRecording(recording, RECORDER)]
    said["recorder"] = _said(evaluate_run(open_stored(folder), beside).results)
    return said


def _said(results: Iterable[Result]) -> Said:
    return {
        each.requirement: (None if each.measured is None else each.measured.value, each.outcome.value)
        for each in results
    }
