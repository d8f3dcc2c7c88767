"""A first power-up in real time on twins in other processes: what may be wrong is found, with its cause."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import pytest
from tests.first_power.test_first_power import SENSED, write
from tests.said import says

from railwright.documents.loader import load_documents
from railwright.records.ended import Ended
from railwright.running.outcome import RunOutcome
from railwright.running.runner import run
from railwright.settings.settle import settle
from railwright.twin.faults import parse_faults
from railwright.twin.launcher import TwinBench

pytestmark = pytest.mark.alone


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Both inputs with sense leads, from one supply: every fault can be there."""
    return write(tmp_path_factory.mktemp("first") / "sensed", SENSED)


def played(folder: Path, to: Path, part: str, fault: str = "", **overrides: str) -> RunOutcome:
    documents = load_documents(folder / f"{part}.procedure.yaml")
    settings = settle(documents, dt.date(2026, 11, 25))
    faults = parse_faults([fault] if fault else [], tuple(documents.device.inputs))
    given = {name.replace("__", "."): text for name, text in overrides.items()}
    twins = TwinBench(
        documents.bench, documents.device, documents.procedure, seed=4, overrides=given, faults=faults
    )
    with twins:
        return run(
            replace(documents, bench=twins.bench),
            settings.set_points,
            unit="TG-1",
            operator="O",
            folder=to,
        )


@pytest.mark.parametrize("part", ["leads", "rise"])
def test_a_healthy_device_is_powered_to_the_end(folder: Path, tmp_path: Path, part: str) -> None:
    outcome = played(folder, tmp_path / "run", part)
    assert (outcome.ended, outcome.cause) == (Ended.COMPLETED, "")


@pytest.mark.parametrize(
    ("fault", "cause"),
    [
        ("short main", "a short or leakage in lead or device"),
        ("exchanged main transducer", "the lead of transducer in its place"),
        ("reversed main", "polarity reversed"),
        ("sense reversed main", "sense leads reversed"),
        ("sense crossed main transducer", "crossed"),
    ],
)
def test_a_fault_ends_it_with_its_cause_named(folder: Path, tmp_path: Path, fault: str, cause: str) -> None:
    outcome = played(folder, tmp_path / "run", "leads", fault)
    assert outcome.ended in (Ended.STOPPED, Ended.TRIPPED)
    assert cause in outcome.cause.partition("; likely: ")[2]
    assert all(off.verified for off in outcome.switched_off.values())
    assert max(float(traces.columns["current"].max()) for traces in outcome.record.traces.values()) < 0.15


def test_a_third_of_the_capacitance_ends_it(folder: Path, tmp_path: Path) -> None:
    outcome = played(folder, tmp_path / "run", "leads", main__capacitor__capacitance="x0.333")
    assert outcome.ended is Ended.STOPPED
    assert says(outcome.cause, "main to 5.4 V", "a third of its capacitance", "11 mA")
