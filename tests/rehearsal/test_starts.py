"""How the station's inputs start, by their operating points and by the rehearsal."""

import dataclasses
import math

import pytest
from tests.rehearsal.test_faults import feeds

from railwright.circuit.case import HIGH, LOW
from railwright.plan.timeline import build_timeline
from railwright.rehearsal.rehearse import rehearse
from railwright.rehearsal.starts import starts


def limited(limit):
    feed = feeds("regulate")["main"]
    points = dataclasses.replace(feed.outputs[0], current_limit=limit)
    return {"main": dataclasses.replace(feed, outputs=(points,))}


def rehearsed(documents, set_points, case):
    timeline = build_timeline(documents.procedure, documents.device)
    short = dataclasses.replace(
        timeline, actions=timeline.actions[:4], spans=timeline.spans[:1], duration=2.0
    )
    result = rehearse(documents, set_points, case, timeline=short, tail=0.0)
    return "restarts for ever" if result.inputs["main"].starts > 3 else "reaches its point"


def test_the_station_starts(documents):
    found = starts(documents, feeds())
    assert {name: start.outcome for name, start in found.items()} == {
        "main": "reaches its point",
        "transducer": "reaches its point",
    }
    assert found["main"].point.voltage == pytest.approx(12.0, abs=1e-3)
    assert found["transducer"].point.current == pytest.approx(20e-3, rel=1e-3)


@pytest.mark.parametrize("case", [LOW, HIGH], ids=["low", "high"])
@pytest.mark.parametrize("limit", [0.25, 0.35, 0.45, 0.6])
def test_the_outcome_is_that_of_the_rehearsal(documents, limit, case):
    told = starts(documents, limited(limit), case, seek=False)["main"]
    assert told.outcome == rehearsed(documents, limited(limit), case)


def test_the_limit_that_frees_it_does(documents):
    """At its starting voltage it asks for P / (η V) = 3.6 W / (86 % · 8.4 V)."""
    start = starts(documents, limited(0.25))["main"]
    assert start.outcome == "restarts for ever"
    assert start.surely == pytest.approx(3.6 / 0.86 / 8.4, rel=0.01)
    assert rehearsed(documents, limited(1.03 * start.frees), lambda name, value: value.nominal) == (
        "reaches its point"
    )
    assert rehearsed(documents, limited(0.97 * start.frees), lambda name, value: value.nominal) == (
        "restarts for ever"
    )


def test_what_is_never_powered_up_has_no_start(documents):
    steps = tuple(step for step in documents.procedure.steps if step.kind == "hold")
    held = documents.procedure.model_copy(update={"steps": steps})
    assert starts(dataclasses.replace(documents, procedure=held), feeds()) == {}
    assert math.isfinite(build_timeline(held, documents.device).duration)
