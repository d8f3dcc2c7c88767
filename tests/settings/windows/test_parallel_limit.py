"""The current limit of two outputs in parallel that regulate: the leading one stays at its own limit for as
long as the pair is on, and the other carries the rest. The pair is in the limit only once both are.

Truth: the two limits together carry what a resistor draws, I ≥ V/R, each less its programming error (closed
form), and every corner of the errors played at that limit comes up.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import pytest
from benchmarks.windows import all_procedures

from railwright.documents.loader import Documents, load_documents
from railwright.plan.set_points import Feed
from railwright.plan.timeline import timeline_of
from railwright.rehearsal.circuit import uncertain_quantities
from railwright.rehearsal.corners import corner_case
from railwright.rehearsal.needed import needed
from railwright.rehearsal.rehearse import rehearse
from railwright.settings.check import settled
from railwright.settings.hookup import hooked_up
from railwright.settings.settle import settle
from railwright.settings.windows.window import Window

TODAY = dt.date(2026, 11, 25)


def pair(folder: Path, *edits: tuple[str, str]) -> Documents:
    """The pair in parallel of the thirteen devices, with edits in its three documents."""
    home = all_procedures()["parallel-pair"].parent
    for name in ("parallel-pair.device.yaml", "parallel-pair.procedure.yaml", "quay.bench.yaml"):
        text = (home / name).read_text()
        for old, new in edits:
            text = text.replace(old, new)
        (folder / name).write_text(text)
    return load_documents(folder / "parallel-pair.procedure.yaml")


def limit_window(documents: Documents) -> Window:
    return next(w for w in settled(hooked_up(documents), TODAY).windows if w.setting == "current_limit")


def error(documents: Documents, feed: Feed, whole: float) -> float:
    """How much less than `whole` the two limits may let through together [A]."""
    total = 0.0
    for points in feed.outputs:
        accuracy = documents.bench.output(points.output).programming
        assert accuracy is not None
        total += accuracy.current.of_value * whole / len(feed.outputs)
        total += accuracy.current.offset
    return total


@pytest.mark.parametrize(
    ("edits", "written"),
    [
        ((), "auto"),
        ((), "4.4 A"),
        ((("steady: 2 A .. 4 A", "steady: 1.5 A .. 3 A"), ("4.2 ohm", "5.6 ohm")), "3.6 A"),
        ((("nominal: 12 V", "nominal: 10 V"), ("steady: 2 A .. 4 A", "steady: 1 A .. 2.6 A")), "3.5 A"),
    ],
)
def test_a_pair_comes_up_with_what_it_draws_and_the_errors(
    tmp_path: Path, edits: tuple[tuple[str, str], ...], written: str
) -> None:
    documents = pair(tmp_path, *edits, ("current_limit: auto", f"current_limit: {written}"))
    window, feed = limit_window(documents), settle(documents, TODAY).set_points["main"]
    needs = documents.device.inputs["main"].current.steady
    ohms = 0.95 * (5.6 if edits and "4.2 ohm" in edits[-1] else 4.2)
    assert needs is not None
    draw = max(needs.high, documents.device.inputs["main"].nominal / ohms)
    assert window.low is not None
    least = draw + error(documents, feed, draw)
    assert window.low.value == pytest.approx(least, abs=2 * window.step)

    told = tuple(
        replace(each, current_limit=window.low.value * window.parts[each.output], ovp=18.0)
        for each in feed.outputs
    )
    feeds = {"main": replace(feed, outputs=told)}
    quantities = uncertain_quantities(documents, feeds)
    for corner in (0, (1 << len(quantities)) - 1, 0x5A5A5A & ((1 << len(quantities)) - 1)):
        played = rehearse(documents, feeds, corner_case(quantities, corner)).inputs["main"]
        assert not played.tripped
        assert played.settled_voltage >= 0.98 * documents.device.inputs["main"].nominal


def test_a_pair_that_trips_still_counts_its_leading_output(tmp_path: Path) -> None:
    """Each output of a pair trips by itself: one that leads for ever asks for a delay that never ends."""
    found = {}
    for at_limit in ("regulate", "trip"):
        documents = pair(tmp_path)
        feed = settle(documents, TODAY).set_points["main"]
        told = tuple(
            replace(each, at_limit=at_limit, current_limit=1.7, trip_delay=1.0, ovp=18.0)
            for each in feed.outputs
        )
        parts = {s: dict.fromkeys(("left.1", "left.2"), 1.0) for s in ("trip_delay", "ovp", "opp")}

        def unlike(name: object, value: object) -> float:
            first = str(name).startswith("left.1") and "voltage" in str(name)
            return value.high if first else value.low  # type: ignore[attr-defined, no-any-return]

        timeline = timeline_of(documents.procedure, documents.device)
        one, _ = needed(documents, {"main": replace(feed, outputs=told)}, unlike, timeline, parts)
        found[at_limit] = one["main"].trip_delay.value
    assert found["trip"] == float("inf")
    assert found["regulate"] < 0.1
