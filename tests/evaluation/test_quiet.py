"""How long after a step nothing is told to an input: by hand, from the example's procedure."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest
from tests.bench import EXAMPLE, PROCEDURE

from railwright.documents.bench import Coupling
from railwright.documents.loader import Documents
from railwright.documents.output_name import OutputName
from railwright.evaluation.ending import Ending
from railwright.evaluation.views import (
    Case,
    RecordSource,
    _changes,
    _quiet,
    _stands,
    _told_before,
    _told_last,
)
from railwright.plan.timeline import timeline_of
from railwright.traces import Event, EventKind, Record, Span


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


BEGINS = "      segments:\n"


def of_shape(bench: Callable[..., Documents], *segments: str) -> tuple[Case, Span]:
    """A run as planned of the example: its brown-out begins at the 16 V of the sweep, with these segments."""
    text = (EXAMPLE / PROCEDURE).read_text("utf-8")
    before, after = text.index(BEGINS), text.index("    name: brown-out")
    written = "".join(f"        - {{{each}}}\n" for each in segments)
    documents = bench((PROCEDURE, text[before:after], f"{BEGINS}{written}"))
    timeline = timeline_of(documents.procedure, documents.device)
    run = Record("run", {}, (), timeline.spans)
    return Case(documents, timeline, RecordSource("run", run, {}, {}), Ending()), run.span("brown-out")


@pytest.mark.parametrize(
    ("segments", "stands"),
    [
        (["step_to: 9 V", "hold: 20 ms", "step_to: 12 V", "hold: 200 ms"], 20e-3),
        (["line_to: 9 V, over: 8 ms", "hold: 30 ms", "step_to: 12 V", "hold: 200 ms"], 30e-3),
        # A line that is steeper than outputs are is played as a jump: what it leads to is left 8 ms later.
        (["line_to: 9 V, over: 8 ms", "step_to: 12 V", "hold: 200 ms"], 8e-3),
        (["line_to: 9 V, over: 8 ms", "line_to: 12 V, over: 8 ms", "hold: 200 ms"], 8e-3),
        (["line_to: 9 V, over: 8 ms", "line_to: 8 V, over: 300 ms", "hold: 200 ms"], math.inf),  # no turn
        (["line_to: 9 V, over: 2 s", "line_to: 12 V, over: 2 s", "hold: 200 ms"], 2.0),
        (["step_to: 9 V", "hold: 200 ms"], math.inf),  # the other input goes off at its end
        (["hold: 200 ms"], math.inf),
    ],
)
def test_for_how_long_a_level_is_set_at_least(
    bench: Callable[..., Documents], segments: list[str], stands: float
) -> None:
    assert _stands(*of_shape(bench, *segments), "main") == pytest.approx(stands)


@pytest.mark.parametrize(
    ("segments", "expected"),
    [
        (["step_to: 9 V", "hold: 20 ms", "step_to: 12 V", "hold: 200 ms"], [(0, 16, 9), (0.02, 9, 12)]),
        (["line_to: 9 V, over: 8 ms", "step_to: 12 V", "hold: 200 ms"], [(4e-3, 16, 9), (8e-3, 9, 12)]),
        (["hold: 200 ms"], []),  # at 16 V
    ],
)
def test_the_changes_of_a_set_point_are_on_the_times_of_the_run(
    bench: Callable[..., Documents], segments: list[str], expected: list[tuple[float, float, float]]
) -> None:
    case, span = of_shape(bench, *segments)
    later = replace(span, start=span.start + 0.7, end=span.end + 0.7)
    for played in (span, later):
        found = [each for each in _changes(case, played, "main") if each.goal > 0.0]
        assert [(each.time - played.start, each.start, each.goal) for each in found] == [
            pytest.approx(each, abs=1e-9) for each in expected
        ]
    assert [each.goal for each in _changes(case, span, "transducer")] == [0.0]  # goes off at the end


@pytest.mark.parametrize(
    ("step", "name", "expected"),
    [
        ("steady", "main", 0.206),  # 50 ms, the other one's rise of 6 ms, settled for 150 ms
        ("line sweep", "main", 0.0),
        ("line sweep", "transducer", 2.15),
        ("brown-out", "main", 0.0),
    ],
)
def test_what_is_told_before_a_step(documents: Documents, step: str, name: str, expected: float) -> None:
    timeline = timeline_of(documents.procedure, documents.device)
    run = Record("run", {}, (), timeline.spans)
    case = Case(documents, timeline, RecordSource("run", run, {}, {}), Ending())
    assert _told_before(case, run.span(step), name) == pytest.approx(expected, abs=1e-9)
