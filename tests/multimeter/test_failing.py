"""Multimeters that are not the one of the bench, do not do as they are told, or fall silent."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests.multimeter.station import VOLTMETER, documents, network_of, played
from tests.said import says

from railwright.archive.stored import evaluate_run, open_stored
from railwright.documents.loader import load_documents
from railwright.documents.sources import DocumentErrors
from railwright.evaluation.outcome import Outcome
from railwright.guard.local_link import LocalLink
from railwright.records.ended import Ended
from railwright.records.readings import read_record
from railwright.running.outcome import RunOutcome
from railwright.running.runner import run
from railwright.traces import EventKind
from railwright.twin.multimeter import MultimeterServer

REQUIRES = (
    "  - {name: level, measure: high_state_level, of: main, during: steady, between: 11.9 V .. 12.1 V}\n"
)


def run_of(procedure: Path, **options: float) -> tuple[RunOutcome, bool]:
    """The run, and whether any output was ever energised."""
    with network_of(procedure) as (job, network, loop):
        settings = job.check(static=True).settings
        outcome = run(
            job.documents, settings.set_points, unit="T-1", operator="O", folder=procedure.parent / "run",
            link=LocalLink(loop, network.connect), **options,
        )  # fmt: skip
        ever = any(network.energised(f"{name}.1") for name in ("left", "right"))
        assert not any(network.on(f"{name}.1") for name in ("left", "right"))
    return outcome, ever


@pytest.mark.parametrize(
    ("command", "answers"),
    [
        ("*IDN?", "Somebody,Other,M-0099,1.0"),
        ("*IDN?", "what?"),
        ("SENSe:FUNCtion?", '"CURR:DC"'),
        ("SENSe:FUNCtion?", '""'),
        ("SENSe:VOLTage:DC:RANGe?", "1.0E+01"),
        ("SENSe:VOLTage:DC:APERture?", "1.0E-01"),
        ("SENSe:VOLTage:DC:APERture?", "slow"),
        ("SYSTem:ERRor?", '-222,"Data out of range"'),
        ("READ?", "no reading"),
    ],
)
def test_nothing_is_energised_beside_one_that_is_not_as_it_should_be(
    command: str, answers: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    right = MultimeterServer.answer

    async def wrong(self: MultimeterServer, message: bytes) -> str:
        answer = await right(self, message)
        return answers if message.decode().strip() == command else answer

    monkeypatch.setattr(MultimeterServer, "answer", wrong)
    outcome, ever = run_of(documents(tmp_path / "s", REQUIRES))
    assert outcome.ended is Ended.INSTRUMENT
    assert "volts" in outcome.cause
    assert not ever


def test_nothing_is_energised_without_one_that_is_to_be_there(tmp_path: Path) -> None:
    procedure = documents(tmp_path / "s", REQUIRES)
    with network_of(procedure) as (job, network, loop):
        bench = job.documents.bench
        meter = bench.multimeters["volts"].model_copy(update={"address": "TCPIP::127.0.0.1::5999::SOCKET"})
        moved = bench.model_copy(update={"multimeters": {"volts": meter}})
        outcome = run(
            replace(job.documents, bench=moved), job.check(static=True).settings.set_points, unit="T-1",
            operator="O", folder=procedure.parent / "run", link=LocalLink(loop, network.connect),
        )  # fmt: skip
        assert not any(network.energised(f"{name}.1") for name in ("left", "right"))
    assert outcome.ended is Ended.INSTRUMENT


@pytest.mark.parametrize("how", ["hangs", "babbles", "closes"])
@pytest.mark.parametrize("after", [1, 20])
def test_one_that_fails_later_ends_nothing(
    how: str, after: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The run goes on, everything is off at its end, and the supply's own readings decide."""
    right, asked = MultimeterServer.answer, [0]

    async def failing(self: MultimeterServer, message: bytes) -> str:
        answer = await right(self, message)
        if message.strip() != b"READ?":
            return answer
        asked[0] += 1
        if asked[0] <= after:
            return answer
        if how == "hangs":
            await asyncio.sleep(1e6)
        if how == "closes":
            raise ConnectionResetError
        return "???"

    monkeypatch.setattr(MultimeterServer, "answer", failing)
    procedure = documents(tmp_path / "s", REQUIRES)
    outcome, _ = run_of(procedure)
    assert outcome.ended is Ended.COMPLETED
    assert outcome.off_confirmed
    failed = [event for event in outcome.record.events if event.kind is EventKind.INSTRUMENT_FAILS]
    assert [event.subject for event in failed] == ["volts"]
    _, meters, _ = read_record(procedure.parent / "run" / "log.ndjson")
    assert all(readings.time.size == after - 1 for readings in meters.values())


def test_readings_of_a_killed_run_are_read_from_its_log(tmp_path: Path) -> None:
    stored, evaluation = played(documents(tmp_path / "s", REQUIRES))
    whole = stored.data.multimeters["volts"]
    (stored.folder / "multimeter-volts.parquet").unlink()
    again = open_stored(stored.folder)
    assert again.data.multimeters["volts"].value.tolist() == whole.value.tolist()
    assert again.data.multimeters["volts"].took.tolist() == whole.took.tolist()
    # What is missing since the run is no pass, though the log still has it.
    found = evaluate_run(again, [])
    assert found.results[0].measured == evaluation.results[0].measured
    assert (evaluation.outcome, found.outcome) == (Outcome.PASS, Outcome.INCONCLUSIVE)


def test_beyond_its_range_it_says_nothing(tmp_path: Path) -> None:
    procedure = documents(tmp_path / "s", REQUIRES, meters=VOLTMETER.replace("20 V", "800 mV"))
    stored, evaluation = played(procedure)
    kinds = [event.kind for event in stored.data.record.events if event.subject == "volts"]
    assert kinds == [EventKind.IDENTIFIED, EventKind.BEYOND_RANGE]
    values = stored.data.multimeters["volts"].value
    assert 0 < np.count_nonzero(np.isnan(values)) < values.size
    assert (evaluation.results[0].outcome, evaluation.results[0].source) == (Outcome.PASS, "supply readings")


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        ("interval: 50 ms", "interval: 20 ms", "interval"),
        (
            "voltage: {range: 20 V,",
            "current: {range: 2 A, offset: 1 mA}\n    voltage: {range: 20 V,",
            "voltage",
        ),
        ("volts:\n", "left:\n", "left"),
        ("5030", "5025", "5025"),
        ("range: 20 V, ", "", "range"),
    ],
)
def test_what_is_wrong_in_the_bench_is_said_with_its_place(
    old: str, new: str, key: str, tmp_path: Path
) -> None:
    probes = "{left: {of: main}}" if new == "left:\n" else "{volts: {of: main}}"
    procedure = documents(tmp_path / "s", REQUIRES, meters=VOLTMETER.replace(old, new), probes=probes)
    with pytest.raises(DocumentErrors) as refused:
        load_documents(procedure)
    lines = str(refused.value).splitlines()
    assert len(lines) == 1
    assert "quay.bench.yaml:" in lines[0]
    assert key in lines[0]


@pytest.mark.parametrize(
    "probes", ["{ohms: {of: main}}", "{volts: {of: nothing}}", "{volts: {of: main, at: sea}}"]
)
def test_what_is_wrong_in_the_procedure_is_said_with_its_place(probes: str, tmp_path: Path) -> None:
    procedure = documents(tmp_path / "s", REQUIRES, probes=probes)
    with pytest.raises(DocumentErrors) as refused:
        load_documents(procedure)
    (line,) = str(refused.value).splitlines()
    assert "truth.procedure.yaml:" in line


def after_off(
    procedure: Path, monkeypatch: pytest.MonkeyPatch, shows: Callable[[float, float], str]
) -> RunOutcome:
    """A run whose multimeter answers something of its own once its input is off, by what it truly reads [V]
    and the time since then [s].
    """
    right = MultimeterServer.answer

    async def wrong(self: MultimeterServer, message: bytes) -> str:
        answer = await right(self, message)
        spans = self._supply.energised()["left.1"]
        if message.strip() != b"READ?" or not spans or spans[-1][1] is None:
            return answer
        return shows(float(answer), asyncio.get_running_loop().time() - spans[-1][1])

    monkeypatch.setattr(MultimeterServer, "answer", wrong)
    outcome, _ = run_of(procedure, decay_limit=3.0)
    assert outcome.ended is Ended.COMPLETED
    assert outcome.switched_off["main"].verified
    return outcome


def told(outcome: RunOutcome, *kinds: EventKind) -> list[str]:
    return [each.detail for each in outcome.record.events if each.kind in kinds and each.subject == "main"]


def test_a_voltage_that_only_the_multimeter_shows_is_not_called_off(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It falls, and would have to fall for two minutes."""
    procedure = documents(tmp_path / "s", REQUIRES)
    outcome = after_off(procedure, monkeypatch, lambda true, since: f"{12.0 - 0.1 * since}")
    assert not outcome.off_confirmed
    (line,) = outcome.not_confirmed
    named = "main", "off was read at the supply", "multimeter volts shows", "11.45 V", "main", "mains switch"
    assert says(line, *named)
    assert not outcome.switched_off["main"].confirmed
    assert len(told(outcome, EventKind.MULTIMETER_CONTRADICTS)) == 1
    assert outcome.switched_off["transducer"].confirmed


def test_a_voltage_that_goes_in_time_is_confirmed_by_the_multimeter(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    procedure = documents(tmp_path / "s", REQUIRES)
    outcome = after_off(procedure, monkeypatch, lambda true, since: f"{max(true, 12.0 - 3.0 * since)}")
    assert outcome.off_confirmed
    assert outcome.switched_off["main"].confirmed
    (line,) = told(outcome, EventKind.MULTIMETER_AGREES, EventKind.MULTIMETER_CONTRADICTS)
    assert says(line, "volts", "V")


def test_one_that_gives_no_answer_after_off_contradicts_nothing_and_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    outcome = after_off(documents(tmp_path / "s", REQUIRES), monkeypatch, lambda true, since: "???")
    assert outcome.off_confirmed
    (caution,) = [each for each in outcome.cautions if "volts" in each]
    assert says(caution, "volts", "not read", "OFF", "???")
