"""Which way a shape goes to its outputs, with what deviation, and what would do where none serves."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.bench import OUTPUT, bench_of
from tests.said import says
from tests.settings.station import TODAY, station

from railwright.documents.bench import Bench
from railwright.documents.output_name import OutputName
from railwright.plan.delivery import (
    Delivery,
    abilities,
    deliveries,
    points_needed,
    points_of,
)
from railwright.plan.listing import as_played
from railwright.plan.plan import plan_of
from railwright.plan.set_point import waveform
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.plan.timeline import Action, Timeline
from railwright.settings.settle import settle
from railwright.traces import Span
from railwright.waveforms.fit_lines import fewest_lines
from railwright.waveforms.waveform import Waveform

POINTS = {"at_most": 50, "dwell": "1 ms .. 10 s", "between": ["step", "line"]}


def bench(*, coupled: bool = False, **more: Any) -> Bench:
    programming = {"voltage": {"resolution": "1 mV"}, "current": {}}
    output = OUTPUT | {"programming": programming, "points": POINTS} | more
    group = [{"outputs": ["1", "2"], "by": "step"}] if coupled else None
    return bench_of({"s": {"outputs": dict.fromkeys("123", output), "coupled": group}})


def feed(name: str = "main", *outputs: str, share: float = 1.0) -> Feed:
    parts = tuple(
        OutputSetPoints(OutputName(o), 1.0, "regulate", 0.0, 30.0, share) for o in outputs or ("s.1",)
    )
    return Feed(name, "alone" if len(parts) == 1 else "series", parts, "pair", "at terminals")


def delivered(
    actions: list[Action], given: Bench, duration: float = 1.0, repeat: int = 1, **more: Any
) -> Delivery:
    feeds = more.pop("feeds", {"main": feed()})
    (one,) = several(actions, given, feeds, duration, repeat, **more)
    return one


def several(
    actions: list[Action], given: Bench, feeds: dict[str, Feed], duration: float, repeat: int, **more: Any
) -> tuple[Delivery, ...]:
    before = [Action(0.0, kind, name, 12.0) for name in feeds for kind in ("on", "line")]
    spans = (
        Span("up", "power_up", 0.0, 1.0, tuple(feeds)),
        Span("shape", "shape", 1.0, 1.0 + duration, tuple(feeds)),
    )
    timeline = Timeline((*before, *actions), spans, 1.0 + duration, turns={1: repeat})
    return deliveries(timeline, feeds, given, **more)


def step(time: float, voltage: float, name: str = "main") -> Action:
    return Action(1.0 + time, "line", name, voltage, step=1)


def line(time: float, voltage: float, over: float) -> Action:
    return Action(1.0 + time, "line", "main", voltage, over, step=1)


DIP = [step(0.1, 6.0), step(0.105, 12.0)]


def test_what_the_host_can_do_it_does() -> None:
    one = delivered([step(0.1, 6.0), step(0.2, 12.0), line(0.5, 9.0, 0.4)], bench(slew="1 V/s .. 1 V/ms"))
    assert (one.by, one.serves, one.error, one.listing) == ("host", True, 0.0, None)


def test_set_points_too_near_together_go_by_the_list() -> None:
    one = delivered(DIP, bench())
    assert (one.by, one.serves) == ("list", True)
    assert one.listing is not None
    assert one.listing.points.between == "step"
    assert one.listing.points.voltages == pytest.approx([12.0, 6.0, 12.0])
    assert one.listing.points.dwells == pytest.approx([0.1, 0.005, 0.895])
    assert (one.error, one.least, one.edge) == (0.0, 0.0, 0.0)
    assert says(one.why, "5 ms", "20 ms", "3")


def test_a_line_without_a_slew_goes_by_the_list_in_lines() -> None:
    one = delivered([line(0.1, 6.0, 0.04), line(0.5, 12.0, 0.2)], bench())
    assert (one.by, one.serves) == ("list", True)
    assert one.listing is not None
    assert one.listing.points.between == "line"
    assert one.listing.points.dwells == pytest.approx([0.1, 0.04, 0.36, 0.2, 0.3])
    assert one.error == pytest.approx(0.0, abs=1e-6)
    assert "stairs" in one.why


def test_a_list_that_only_steps_and_is_too_short_says_what_would_do() -> None:
    points = {"at_most": 5, "dwell": "1 ms .. 10 s"}
    one = delivered([line(0.1, 2.0, 0.06), line(0.2, 12.0, 0.06)], bench(points=points))
    assert (one.by, one.serves) == ("list", False)
    assert one.error >= (one.least or 0.0) > one.tolerance
    assert one.tolerance == pytest.approx(0.1)
    assert says(one.remedy, "5")


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (bench(points=None), "s.1 has no point list"),
        (bench(coupled=True), "s.1 is coupled with others"),
        (bench(points={"at_most": 2, "dwell": "200 ms .. 300 ms"}), "a list of 2 points cannot last 1 s"),
    ],
)
def test_without_a_list_the_host_plays_it_and_it_is_said(given: Bench, told: str) -> None:
    one = delivered(DIP, given)
    assert (one.by, one.serves, one.listing) == ("host", False, None)
    assert one.error == pytest.approx(6.0)
    assert told in one.why
    assert one.remedy


def test_a_dialect_without_list_commands_hinders() -> None:
    given = bench()
    without = {
        name: supply.model_copy(update={"dialect": supply.dialect.model_copy(update={"points": None})})
        for name, supply in given.supplies.items()
    }
    given = given.model_copy(update={"supplies": without})
    assert says(delivered(DIP, given).why, "commands")


def test_the_shortest_dwell_decides_what_a_dip_becomes() -> None:
    one = delivered(DIP, bench(points={"at_most": 50, "dwell": "20 ms .. 10 s", "between": ["step"]}))
    assert (one.by, one.serves) == ("host", False)
    assert says(one.why, "50", "3 V")
    assert says(one.remedy, "20 ms")


def test_another_tolerance_may_be_asked_for() -> None:
    assert delivered([line(0.1, 6.0, 0.06)], bench(), tolerance=2.1).by == "host"
    assert delivered([line(0.1, 6.0, 0.06)], bench(), tolerance=1.9).by == "list"


def test_a_shape_that_repeats_may_be_listed_once() -> None:
    turns = 40
    actions = [
        step(turn * 0.02 + at, voltage)
        for turn in range(turns)
        for at, voltage in ((0.0, 6.0), (0.005, 9.0), (0.01, 12.0))
    ]
    one = delivered(actions, bench(), turns * 0.02, repeat=turns)
    assert (one.by, one.serves, one.error) == ("list", True, 0.0)
    assert one.listing is not None
    assert one.listing.count == turns
    assert one.listing.points.voltages == pytest.approx([6.0, 9.0, 12.0])
    assert one.listing.duration == pytest.approx(turns * 0.02)


def test_a_list_in_lines_that_repeats_begins_each_turn_where_the_shape_does() -> None:
    """12 V before it, so the first turn begins without a jump; each later one jumps from 5 V back to 12 V."""
    one_turn = [step(0.0, 12.0), line(0.0, 9.0, 0.3), line(0.3, 8.0, 0.5), step(0.8, 5.0)]
    actions = [replace(each, time=each.time + turn) for turn in range(3) for each in one_turn]
    one = delivered(actions, bench(points={**POINTS, "between": ["line"], "at_most": 8}), 3.0, repeat=3)
    assert one.listing is not None
    assert (one.serves, one.listing.count) == (True, 3)
    spans = (Span("up", "power_up", 0.0, 1.0, ("main",)), Span("shape", "shape", 1.0, 4.0, ("main",)))
    played = as_played(Timeline(tuple(actions), spans, 4.0), [one.listing])
    told = waveform(12.0, played.actions, 1.0, 3.0)
    for turn in range(3):
        at = turn + np.array([0.15, 0.3, 0.55, 0.79, 0.9])
        assert told.at(at) == pytest.approx([10.5, 9.0, 8.5, 8.02, 5.0], abs=one.tolerance)


def test_two_lists_at_once_on_one_supply_are_not_possible() -> None:
    feeds = {"main": feed(), "aux": feed("aux", "s.3")}
    both = [*DIP, step(0.1, 6.0, "aux"), step(0.105, 12.0, "aux")]
    first, second = several(both, bench(), feeds, 1.0, 1)
    assert (first.by, second.by) == ("list", "host")
    assert says(second.why, "main", "supply")


def test_what_a_group_can_do_is_what_all_its_outputs_can() -> None:
    group = feed("main", "s.1", "s.2", share=0.5)
    can = abilities(group, bench())
    assert (can.lowest, can.highest) == (0.0, 72.0)
    assert can.resolution == pytest.approx(2e-3)
    assert (can.at_most, can.shortest, can.longest, can.step) == (50, 1e-3, 10.0, 1e-3)
    points = points_of(group, bench(points={**POINTS, "dwell_resolution": "200 us"}))
    assert points is not None
    assert points.step == pytest.approx(200e-6)
    with pytest.raises(ValueError, match="point list"):
        abilities(group, bench(points=None))


def test_a_first_jump_in_lines_lasts_the_shortest_dwell() -> None:
    one = delivered([step(0.0, 6.0), line(0.05, 12.0, 0.04)], bench(points={**POINTS, "between": ["line"]}))
    assert one.listing is not None
    assert one.listing.points.start == pytest.approx(12.0, abs=1e-3)
    assert one.listing.points.dwells[0] == pytest.approx(1e-3)
    assert one.listing.points.voltages[0] == pytest.approx(6.0, abs=1e-3)


def test_what_is_rehearsed_then_is_the_list() -> None:
    one = delivered(DIP, bench())
    assert one.listing is not None
    spans = (Span("up", "power_up", 0.0, 1.0, ("main",)), Span("shape", "shape", 1.0, 2.0, ("main",)))
    played = as_played(Timeline(tuple(DIP), spans, 2.0), [one.listing])
    assert [action.time for action in played.actions] == pytest.approx([1.0, 1.1, 1.105])
    assert np.allclose([action.voltage for action in played.actions], [12.0, 6.0, 12.0])


def test_the_played_timeline_of_documents_holds_the_points(tmp_path: Path) -> None:
    shape = (
        "  - shape: {input: main, segments: [{step_to: 9 V}, {hold: 5 ms}, {step_to: 12 V}, {hold: 1 s}]}\n"
    )
    documents = station(
        tmp_path,
        ("bench", "dwell: 20 ms .. 300 s", "dwell: 1 ms .. 300 s"),
        ("procedure", "  - shape:\n", shape + "  - shape:\n"),
    )
    set_points = settle(documents, TODAY).set_points
    plan = plan_of(documents, set_points)
    played, asked = plan.played, plan.timeline
    assert played.spans == asked.spans
    start = asked.spans[3].start
    given = [a for a in played.actions if start <= a.time < start + 1.0 and a.input == "main"]
    assert [(round(a.time - start, 6), a.voltage, a.path) for a in given] == [
        (0.0, 9.0, ()),
        (0.005, 12.0, ()),
    ]


@pytest.mark.parametrize("seed", range(30))
def test_the_bound_of_points_needed_is_none_of_what_a_fit_needs(seed: int) -> None:
    draw = np.random.default_rng(seed)
    values = np.round(draw.uniform(0.0, 3.0, 60), 1)
    tolerance = float(draw.choice([0.05, 0.2, 0.6, 1.4, 2.0]))
    wave = Waveform(np.arange(60.0), values)
    fit = fewest_lines(wave, tolerance)
    assert fit is not None
    assert points_needed(values.tolist(), tolerance) <= fit.points


def test_points_needed_of_a_zigzag_and_of_a_slope() -> None:
    assert points_needed([0.0, 5.0] * 100, 1.0) == 100
    assert points_needed([0.0, 5.0] * 100, 3.0) == 1
    assert points_needed([float(n) for n in range(100)], 0.1) == 1
    assert points_needed([9.0, 0.0, 9.0], 1.0) == 2


def test_of_a_hopeless_shape_no_list_is_fitted_and_the_host_plays_it() -> None:
    actions = [step(0.01 * n, 5.0 + 5.0 * (n % 2)) for n in range(99)]
    one = delivered(actions, bench(points=POINTS | {"at_most": 10}))
    assert (one.by, one.serves, one.listing) == ("host", False, None)
    assert says(one.why, "10", "50")


def test_a_list_that_only_strikes_the_mean_of_two_levels_is_not_played() -> None:
    """10 ms dips, dwells of 20 ms and more: the least deviation is the middle of both levels, for good."""
    actions = [step(0.3 * n + at, level) for n in range(3) for at, level in ((0.1, 0.0), (0.11, 12.0))]
    one = delivered(actions, bench(points=POINTS | {"dwell": "20 ms .. 10 s"}))
    assert (one.by, one.serves, one.listing) == ("host", False, None)
    assert says(one.why, "50", "6 V")


def test_a_line_that_goes_at_once_is_one_step() -> None:
    one = delivered([line(0.1, 6.0, 0.02)], bench(points=None))
    assert one.by == "host"
    assert says(one.why, "20 ms", "6 V")
