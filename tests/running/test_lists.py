"""Point lists in a run: when they are loaded, armed and started, and what happens where they differ."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from tests.plan.test_moves import alone, bench
from tests.running import small as bench_of
from tests.running.small import PROCEDURE, small
from tests.said import says

from railwright.plan.listing import Listing
from railwright.plan.moves import moves_of
from railwright.plan.timeline import Action, Timeline
from railwright.records.ended import Ended
from railwright.traces import Span
from railwright.waveforms.point_list import PointList

POINTS = PointList("step", 12.0, np.array([6.0, 12.0]), np.array([0.005, 0.995]))
SHAPES = """\
  - shape: {input: main, segments: [{step_to: 9 V}, {hold: 5 ms}, {step_to: 12 V}, {hold: 100 ms}]}
    name: dip
  - hold: 50 ms
"""


def with_shape() -> str:
    return PROCEDURE.replace("  - power_down:", SHAPES + "  - power_down:")


def test_the_first_list_is_loaded_before_the_run_and_the_next_when_it_is_over() -> None:
    actions = [
        Action(0.0, "on", "main"),
        Action(0.0, "line", "main", 12.0),
        *(
            Action(start + at, "line", "main", v, step=int(start))
            for start in (1.0, 3.0)
            for at, v in ((0.0, 6.0), (0.005, 12.0))
        ),
        Action(4.5, "line", "main", 9.0, step=4),
    ]
    spans = tuple(
        Span(name, kind, start, end, ("main",))
        for name, kind, start, end in (
            ("up", "power_up", 0.0, 1.0),
            ("one", "shape", 1.0, 2.0),
            ("hold", "hold", 2.0, 3.0),
            ("two", "shape", 3.0, 4.0),
            ("last", "shape", 4.0, 5.0),
        )
    )
    listings = [Listing(1, "main", POINTS, 1), Listing(3, "main", POINTS, 1)]
    plan = moves_of(Timeline(tuple(actions), spans, 5.0), {"main": alone()}, bench(None), listings)
    assert [(move.kind, round(move.time, 3), move.step) for move in plan.moves] == [
        ("load", -1.0, 0),
        ("on", 0.0, 0),
        ("arm", 0.95, 0),
        ("play", 1.0, 1),
        ("load", 2.0, 2),
        ("arm", 2.95, 2),
        ("play", 3.0, 3),
        ("set", 4.5, 4),
    ]


@pytest.mark.parametrize(("instant", "sent"), [(0.98, ["set", "arm"]), (1.0, [])])
def test_a_list_is_armed_ahead_only_where_no_set_point_stands_at_its_instant(
    instant: float, sent: list[str]
) -> None:
    """A set point at the very instant of the list gives way to it."""
    actions = [
        Action(0.0, "on", "main"),
        Action(instant, "line", "main", 6.0),
        Action(1.0, "line", "main", 7.0, step=1),
    ]
    spans = (Span("up", "power_up", 0.0, 1.0, ("main",)), Span("one", "shape", 1.0, 2.0, ("main",)))
    plan = moves_of(
        Timeline(tuple(actions), spans, 2.0), {"main": alone()}, bench(None), [Listing(1, "main", POINTS, 1)]
    )
    assert [move.kind for move in plan.moves] == ["load", "on", *sent, "play"]


@pytest.mark.alone
def test_a_run_loads_the_list_while_all_is_off_and_lets_go_of_it_in_the_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    output = bench_of.OUTPUT.replace("{voltage:", "{points: {at_most: 20, dwell: 1 ms .. 10 s}, voltage:", 1)
    monkeypatch.setattr(bench_of, "OUTPUT", output)
    with small(tmp_path, with_shape()) as given:
        outcome = given.run()
        units = given.left.units
    assert outcome.ended is Ended.COMPLETED
    loaded = next(i for i, unit in enumerate(units) if "LIST:VOLTage 9,12" in unit)
    switched_on = next(i for i, unit in enumerate(units) if unit.startswith("OUTPut:STATe ON"))
    started = next(i for i, unit in enumerate(units) if unit.startswith("INITiate"))
    assert loaded < switched_on < started
    assert "point list starts" in [event.what for event in outcome.record.events]
    assert given.left.outputs[1].settings["VOLT:MODE"] == "FIX"
    assert outcome.record.span("dip").end - outcome.record.span("dip").start == pytest.approx(0.105, abs=0.03)
    assert any(says(note, "point list") for note in outcome.deviations)


@pytest.mark.parametrize("header", ["LIST:VOLT?", "LIST:DWELL?", "LIST:COUNT?"])
def test_a_list_that_reads_back_otherwise_is_never_energised(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, header: str
) -> None:
    output = bench_of.OUTPUT.replace("{voltage:", "{points: {at_most: 20, dwell: 1 ms .. 10 s}, voltage:", 1)
    monkeypatch.setattr(bench_of, "OUTPUT", output)
    with small(tmp_path, with_shape()) as given:
        given.left.answers[header] = "7,7"
        outcome = given.run()
        assert outcome.ended is Ended.INSTRUMENT
        assert says(outcome.cause, "left", "reads back", "LIST")
        assert not given.ever_on
