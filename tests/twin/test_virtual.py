"""Records with known truth."""

from dataclasses import dataclass

import numpy as np
import pytest
from benchmarks.virtual_record import record_case
from tests.twin.bench import BENCH, DEVICE, PROCEDURE

from railwright.documents.loader import Documents
from railwright.documents.output_name import OutputName
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.plan.timeline import Action, Timeline
from railwright.traces import Record, Span

DOCUMENTS = Documents(DEVICE, BENCH, PROCEDURE)
SET_POINTS = {
    "main": Feed(
        "main",
        "alone",
        (OutputSetPoints(OutputName("left.1"), 1.0, "regulate", 0.0, 18.0),),
        "pair",
        "at load",
    ),
    "aux": Feed(
        "aux",
        "alone",
        (OutputSetPoints(OutputName("left.2"), 0.5, "trip", 0.01, 8.0),),
        "pair",
        "at terminals",
        ("main",),
    ),
}
TIMELINE = Timeline(
    (
        Action(0.0, "on", "main"),
        Action(0.0, "line", "main", 12.0, 0.012),
        Action(0.1, "on", "aux"),
        Action(0.1, "line", "aux", 5.0, 0.0),
        Action(0.9, "off", "aux"),
        Action(1.0, "off", "main"),
    ),
    (Span("up", "power_up", 0.0, 0.5, ("main", "aux")),),
    1.2,
)


@dataclass(frozen=True)
class Case:
    record: Record
    truth: Record


@pytest.fixture(scope="module")
def case() -> Case:
    return Case(*record_case(DOCUMENTS, SET_POINTS, 7, TIMELINE))


def test_a_record_holds_only_what_was_measured(case: Case) -> None:
    assert set(case.record.traces["main"].columns) == {"voltage", "current"}
    assert set(case.record.traces["aux"].columns) == {"terminal_voltage", "current"}
    assert set(case.truth.traces["main"].columns) == {"voltage", "terminal_voltage", "current", "mode"}
    assert (case.record.origin, case.truth.origin) == ("supply readings", "twin truth")


def test_rows_come_at_the_recording_interval(case: Case) -> None:
    time = case.record.traces["main"].time
    assert np.allclose(np.diff(time), 0.01)
    assert -0.003 <= time[0] <= 0.007


def test_readings_are_the_truth_within_their_accuracy(case: Case) -> None:
    steady = case.record.traces["main"].between(0.5, 0.95)
    true = case.truth.traces["main"].between(0.45, 0.95)
    assert np.mean(steady.columns["voltage"]) == pytest.approx(np.mean(true.columns["voltage"]), abs=0.013)
    assert np.mean(steady.columns["current"]) == pytest.approx(np.mean(true.columns["current"]), abs=0.0036)
    assert true.columns["voltage"][-1] == pytest.approx(12.0, abs=0.015)


def test_what_the_host_did_and_what_happened_are_events(case: Case) -> None:
    assert [(event.subject, event.what) for event in case.record.events] == [
        ("main", "on"),
        ("aux", "on"),
        ("aux", "off"),
        ("main", "off"),
    ]
    assert ("left.1", "enters CC") in {(event.subject, event.what) for event in case.truth.events}
    assert case.record.spans == TIMELINE.spans


def test_the_same_seed_gives_the_same_record(case: Case) -> None:
    record, _ = record_case(DOCUMENTS, SET_POINTS, 7, TIMELINE)
    assert np.array_equal(
        record.traces["main"].columns["current"], case.record.traces["main"].columns["current"]
    )
    other, _ = record_case(DOCUMENTS, SET_POINTS, 8, TIMELINE)
    assert not np.array_equal(
        other.traces["main"].columns["current"], record.traces["main"].columns["current"]
    )


def test_a_linked_trip_is_carried_out() -> None:
    trips = dict(SET_POINTS)
    trips["main"] = Feed(
        "main", "alone", (OutputSetPoints(OutputName("left.1"), 0.2, "trip", 0.02, 18.0),), "pair", "at load"
    )
    record, truth = record_case(DOCUMENTS, trips, 7, TIMELINE)
    assert ("left.1", "trips current limit") in {(event.subject, event.what) for event in record.events}
    aux = truth.traces["aux"]
    assert np.interp(0.8, aux.time, aux.columns["voltage"]) < 1.0


def test_an_override_without_a_parameter_is_refused() -> None:
    with pytest.raises(ValueError, match=r"no true parameter 'main\.nothing'"):
        record_case(DOCUMENTS, SET_POINTS, 7, TIMELINE, overrides={"main.nothing": "x2"})
