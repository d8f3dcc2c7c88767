"""A rehearsed record as the supply's own readings would show it."""

from __future__ import annotations

import numpy as np
import pytest

import railwright.rehearsal.read
from railwright.documents.loader import load_documents
from railwright.documents.output_name import OutputName
from railwright.examples import example
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.plan.timeline import build_timeline
from railwright.rehearsal.read import Phase, as_read
from railwright.traces import Record, Traces

DEMO = example() / "power-input.procedure.yaml"
FEED = Feed(
    "main",
    "alone",
    (OutputSetPoints(OutputName("left.1"), 1.0, "trip", 0.04, 18.0),),
    "silicone pair",
    "at load",
)


def read(time: list[float], current: list[float]) -> Traces:
    documents = load_documents(DEMO)
    t, i = np.array(time), np.array(current)
    traces = Traces(t, {"voltage": 12 + 0 * t, "terminal_voltage": 13 + 0 * t, "current": i})
    timeline = build_timeline(documents.procedure, documents.device)
    record = Record("rehearsal", {"main": traces})
    made = as_read(record, documents, {"main": FEED}, timeline, {"main": 10e-3})
    assert made.origin == "supply readings"
    assert {event.what for event in made.events} == {"on", "off"}
    return made.traces["main"]


def test_a_reading_is_the_mean_over_its_aperture_exactly_on_straight_lines() -> None:
    traces = read([0.0, 0.1, 0.1, 1.0], [0.0, 1.0, 5.0, 5.0])  # a ramp, then a jump
    at = int(np.searchsorted(traces.time, 0.05 - 1e-6))
    assert traces.columns["current"][at] == pytest.approx(10 * (0.05 - 0.004))  # 8 ms before 50 ms
    assert traces.columns["current"][-1] == pytest.approx(5.0)


def test_it_is_read_before_its_first_step_too_as_a_run_does() -> None:
    """From a reading on whose aperture (8 ms) and update (10 ms) lie wholly before it."""
    traces = read([0.0, 0.1], [0.0, 1.0])
    assert traces.time[0] <= -0.018
    assert traces.columns["current"][0] == 0.0
    assert np.allclose(np.diff(traces.time), 10e-3)


def test_a_peak_shorter_than_the_aperture_is_averaged_away() -> None:
    traces = read([0.0, 0.045, 0.045, 0.046, 0.046, 0.2], [0.0, 0.0, 8.0, 8.0, 0.0, 0.0])
    assert float(traces.columns["current"].max()) == pytest.approx(1.0)  # 8 A for 1 ms in 8 ms
    lost = read([0.0, 0.0505, 0.0505, 0.0515, 0.0515, 0.2], [0.0, 0.0, 8.0, 8.0, 0.0, 0.0])
    assert float(lost.columns["current"].max()) == pytest.approx(0.0, abs=1e-12)  # between two apertures


def test_the_voltage_is_that_of_the_place_where_it_is_sensed() -> None:
    assert set(read([0.0, 1.0], [0.0, 0.0]).columns) == {"voltage", "current"}


def test_a_procedure_of_weeks_is_read_in_bounded_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    """29 days with a reading every 10 ms would be 250 million of each input."""
    monkeypatch.setattr(railwright.rehearsal.read, "MOST_READINGS", 1000)
    traces = read([0.0, 29 * 86400.0], [1.0, 1.0])
    assert np.count_nonzero(traces.time >= 0.0) in (1000, 1001)  # the last instant by its rounding
    assert np.allclose(traces.columns["current"], 1.0)


@pytest.mark.parametrize(("apart", "late"), [(0.25, 2.5e-3), (0.75, 7.5e-3), (0.0, 0.0)])
def test_a_sum_of_outputs_that_hand_over_is_off_by_what_goes_between_their_apertures(
    apart: float, late: float
) -> None:
    """2 A/s goes from one to the other, which updates `late` after it, or what is left of 10 ms before it."""
    documents = load_documents(DEMO)
    reading = documents.bench.output(OutputName("left.1")).reading
    assert reading is not None
    assert reading.update == 10e-3
    names = (OutputName("left.1"), OutputName("left.2"))
    points = tuple(OutputSetPoints(name, 1.0, "regulate", 0.0, 18.0) for name in names)
    feed = Feed("main", "parallel", points, "silicone pair", "at terminals")
    time = np.array([0.0, 0.5])
    traces = Traces(
        time, {"voltage": 12 + 0 * time, "terminal_voltage": 12 + 0 * time, "current": 1 + 0 * time}
    )
    shares = {"main": {names[0]: (12 + 0 * time, 2 * time), names[1]: (12 + 0 * time, 1 - 2 * time)}}
    timeline = build_timeline(documents.procedure, documents.device)
    record, phase = Record("rehearsal", {"main": traces}), Phase(0.0, 0.0, apart)
    made = as_read(record, documents, {"main": feed}, timeline, {"main": 10e-3}, phase, shares).traces["main"]
    # The second one's newest is 10 ms - late older.
    older = 10e-3 - late if late else 0.0
    assert made.columns["current"][5:45] == pytest.approx(1.0 + 2.0 * older)
    assert made.columns["terminal_voltage"][5:45] == pytest.approx(12.0)
