"""How long after a step nothing is told to an input: by hand, from the example's procedure."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest

from railwright.documents.bench import Coupling
from railwright.documents.loader import Documents
from railwright.documents.output_name import OutputName
from railwright.evaluation.ending import Ending
from railwright.evaluation.views import Case, RecordSource, _quiet, _told_last
from railwright.plan.timeline import timeline_of
from railwright.traces import Event, EventKind, Record


def quiet(
    documents: Documents, step: str, name: str, *events: Event, until: float | None = None, fed: Any = None
) -> float:
    """Of a run that was played as planned, up to a time [s] where one is given."""
    timeline = timeline_of(documents.procedure, documents.device)
    spans = timeline.spans
    if until is not None:
        spans = tuple(each for each in spans if each.start < until)
        spans = (*spans[:-1], replace(spans[-1], end=until, whole=False))
    run = Record("run", {}, events, spans)
    case = Case(documents, timeline, RecordSource("run", run, {}, fed or {}), Ending())
    return _quiet(case, run.span(step), name)


@pytest.mark.parametrize(
    ("step", "name", "expected"),
    [
        ("first power", "main", 2.0),  # held for 2 s before the sweep
        ("first power", "transducer", 11.5),  # 2 s, eight points of 500 ms, 5.5 s of the brown-out
        ("steady", "main", 0.0),  # the sweep begins at 9 V
        ("steady", "transducer", 9.5),
        ("line sweep", "main", 0.0),
        ("brown-out", "main", 0.02),  # goes off 20 ms after the other one
        ("brown-out", "transducer", 0.0),
    ],
)
def test_up_to_what_is_told_next(documents: Documents, step: str, name: str, expected: float) -> None:
    assert quiet(documents, step, name) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("after", [0.0, 3e-3, 0.4])
def test_a_trip_or_the_end_of_the_run_is_no_quiet(documents: Documents, after: float) -> None:
    end = timeline_of(documents.procedure, documents.device).spans[0].end
    trip = Event(end + after, "main", EventKind.TRIPS_CURRENT_LIMIT)
    assert quiet(documents, "first power", "main", trip) == pytest.approx(after, abs=1e-9)
    assert quiet(documents, "first power", "transducer", trip) == pytest.approx(11.5)
    assert quiet(documents, "first power", "main", until=end + after + 1e-6) == pytest.approx(after, abs=2e-6)


def test_what_is_coupled_with_another_input_is_no_quiet(documents: Documents) -> None:
    """The sweep of the other input takes it along."""
    group = Coupling(outputs=("1", "2"), by="step", of="voltage")
    supplies = dict(documents.bench.supplies)
    supplies["left"] = supplies["left"].model_copy(update={"coupled": (group,)})
    bench = documents.bench.model_copy(update={"supplies": supplies})
    fed = {"transducer": SimpleNamespace(names=[OutputName("left.2")], outputs=(), input="transducer")}
    assert quiet(documents, "steady", "transducer", fed=fed) == pytest.approx(9.5)
    assert quiet(replace(documents, bench=bench), "steady", "transducer", fed=fed) == 0.0


@pytest.mark.parametrize(
    ("step", "name", "expected"),
    [
        ("line sweep", "main", 0.5),  # the last of its points
        ("steady", "main", math.inf),
        ("brown-out", "main", math.inf),  # but for lines, it jumps at its beginning only
        ("line sweep", "transducer", math.inf),
    ],
)
def test_what_is_told_last(documents: Documents, step: str, name: str, expected: float) -> None:
    timeline = timeline_of(documents.procedure, documents.device)
    run = Record("run", {}, (), timeline.spans)
    case = Case(documents, timeline, RecordSource("run", run, {}, {}), Ending())
    assert _told_last(case, run.span(step), name) == pytest.approx(expected)
