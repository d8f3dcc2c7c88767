"""From timeline to moves: slews, stairs, shares, and which step a move belongs to."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from tests.bench import OUTPUT, bench_of, demo_with
from tests.said import figures, says

from railwright.documents.bench import Bench
from railwright.documents.output_name import OutputName
from railwright.documents.procedure import Step
from railwright.documents.translate import validated
from railwright.plan.moves import _list_moves, moves_of
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.plan.stairs import MOST_STAIRS, STAIR, highest_stair, in_stairs, slew_range
from railwright.plan.timeline import Action, Timeline, timeline_of
from railwright.traces import Span


def bench(slew: str | None) -> Bench:
    return bench_of({"left": {"outputs": dict.fromkeys("12", OUTPUT | {"slew": slew})}})


def alone(output: str = "left.1") -> Feed:
    return Feed(
        "main", "alone", (OutputSetPoints(OutputName(output), 1.0, "regulate", 0.0, 18.0),), "pair", "at load"
    )


def timeline(*actions: Action, spans: tuple[Span, ...] = ()) -> Timeline:
    end = max(action.time + action.over for action in actions)
    return Timeline(actions, spans or (Span("all", "shape", 0.0, end, ("main",)),), end)


def test_a_line_within_the_slew_is_one_programmed_move() -> None:
    plan = moves_of(
        timeline(Action(0.0, "line", "main", 6.0, 2.0)), {"main": alone()}, bench("1 V/s .. 2 V/ms")
    )
    (move,) = plan.moves
    assert (move.voltage, move.slew, plan.notes) == (6.0, 3.0, ())


def test_a_line_faster_than_the_slew_is_played_as_fast_as_it_goes_and_noted() -> None:
    plan = moves_of(
        timeline(Action(0.0, "line", "main", 12.0, 0.001)), {"main": alone()}, bench("1 V/s .. 2 V/ms")
    )
    assert plan.moves[0].slew == 2000.0
    assert [figures(note) for note in plan.notes] == [["12 kV/s", "2 kV/s"]]


@pytest.mark.parametrize("slew", [None, "100 V/s .. 2 V/ms"])
def test_a_line_without_a_slew_for_it_is_played_in_stairs(slew: str | None) -> None:
    plan = moves_of(timeline(Action(1.0, "line", "main", 6.0, 0.2)), {"main": alone()}, bench(slew))
    assert [move.voltage for move in plan.moves] == pytest.approx([0.6 * n for n in range(1, 11)])
    assert [move.time for move in plan.moves] == pytest.approx([1.0 + 0.02 * n for n in range(1, 11)])
    assert "10 stairs" in plan.notes[0]


def test_the_height_of_the_stairs_is_known_and_nil_where_the_slew_serves() -> None:
    lines = timeline(Action(0.0, "line", "main", 6.0, 0.2), Action(0.2, "line", "main", 7.0, 0.2))
    assert highest_stair(lines, lines.spans[0], alone(), bench(None)) == pytest.approx(0.6)
    assert highest_stair(lines, lines.spans[0], alone(), bench("1 V/s .. 2 V/ms")) == 0.0
    later = Span("later", "shape", 0.15, 0.4, ("main",))
    assert highest_stair(lines, later, alone(), bench(None)) == pytest.approx(0.1)


def test_a_short_line_without_a_slew_is_a_step() -> None:
    plan = moves_of(timeline(Action(0.0, "line", "main", 6.0, 0.005)), {"main": alone()}, bench(None))
    assert [move.voltage for move in plan.moves] == [6.0]
    assert says(plan.notes[0], "one step")


def test_switching_on_and_the_first_line_are_one_move() -> None:
    actions = (Action(0.5, "on", "main"), Action(0.5, "line", "main", 12.0, 0.006))
    plan = moves_of(timeline(*actions), {"main": alone()}, bench("1 V/s .. 2 V/ms"))
    (move,) = plan.moves
    assert (move.kind, move.voltage, move.slew) == ("on", 12.0, pytest.approx(2000.0))


def test_a_series_pair_shares_the_slew() -> None:
    parts = tuple(OutputSetPoints(OutputName(f"left.{n}"), 1.0, "regulate", 0.0, 18.0, 0.5) for n in (1, 2))
    feed = Feed("main", "series", parts, "pair", "at load")
    assert slew_range(feed, bench("1 V/s .. 2 V/ms")) == (2.0, 4000.0)
    assert slew_range(feed, bench(None)) is None


@pytest.mark.parametrize(
    ("low", "high", "over"),
    [(2.7, 4.6, 1.9), (0.1, 0.4, 0.3), (0.7, 0.8, 0.1), (1.1, 3.3, 2.2), (4.6, 2.7, 1.9)],
)
@pytest.mark.parametrize("slews", ["1 V/s .. 2 V/ms", "0.1 V/s .. 1 V/s"])
def test_a_line_as_steep_as_an_end_of_the_range_is_one_move(
    low: float, high: float, over: float, slews: str
) -> None:
    """1 V/s each; (4.6 - 2.7) V in 1.9 s comes out as 0.9999999999999998 V/s."""
    actions = (Action(0.0, "line", "main", low, 0.0), Action(1.0, "line", "main", high, over))
    moves = moves_of(timeline(*actions), {"main": alone()}, bench(slews)).moves
    assert [(move.time, move.voltage) for move in moves] == [(0.0, low), (1.0, high)]
    slew, reach = moves[1].slew, slew_range(alone(), bench(slews))
    assert slew is not None
    assert reach is not None
    assert slew == pytest.approx(1.0)
    assert reach[0] <= slew <= reach[1]


@pytest.mark.parametrize(("over", "count"), [(1.91, 95), (4.0, 200)])
def test_a_line_flatter_than_the_range_is_played_in_stairs(over: float, count: int) -> None:
    actions = (Action(0.0, "line", "main", 2.7, 0.0), Action(1.0, "line", "main", 4.6, over))
    moves = moves_of(timeline(*actions), {"main": alone()}, bench("1 V/s .. 2 V/ms")).moves
    assert len(moves) == 1 + count


MEETING = [
    {"power_up": {"order": ["main"]}},
    {"sweep": {"input": "main", "from": "9 V", "to": "16 V", "points": 2, "dwell": "1 s"}},
    {"power_down": {"order": ["main"]}},
    {"power_up": {"order": ["main"]}},
    {"shape": {"input": "main", "segments": [{"step_to": "9 V"}, {"hold": "1 s"}], "at_end": "off"}},
    {"power_up": {"order": ["main"]}},
    {"power_down": {"order": ["main"]}},
]
"""The steps of which each ends at the instant at which the next begins do something there themselves."""


def test_an_action_where_two_steps_meet_goes_to_the_step_that_does_it(tmp_path: Path) -> None:
    documents = demo_with(tmp_path)
    steps = tuple(validated(Step, step) for step in MEETING)
    asked = timeline_of(documents.procedure.model_copy(update={"steps": steps}), documents.device)
    plan = moves_of(asked, {"main": alone()}, bench(None))
    assert [(move.step, move.kind, move.voltage) for move in plan.moves] == [
        (0, "on", 9.0),  # and on its way at once, which is told in one message
        (1, "set", 16.0),
        (2, "off", 0.0),
        (3, "on", 9.0),
        (4, "off", 0.0),
        (5, "on", 12.0),
        (6, "off", 0.0),
    ]


def test_what_is_rehearsed_is_what_the_host_tells() -> None:
    asked = timeline(Action(0.0, "on", "main"), Action(1.0, "line", "main", 6.0, 0.2))
    feeds = {"main": alone()}
    rehearsed = in_stairs(asked, feeds, bench(None))
    told = moves_of(asked, feeds, bench(None)).moves
    assert [(a.time, a.voltage) for a in rehearsed.actions] == [(m.time, m.voltage) for m in told]
    assert all(action.over == 0.0 for action in rehearsed.actions)
    assert in_stairs(asked, feeds, bench("1 V/s .. 2 V/ms")) == asked
    long = timeline(Action(0.0, "line", "main", 6.0, 1.1 * MOST_STAIRS * STAIR))
    assert in_stairs(long, feeds, bench(None)) == long


@pytest.mark.parametrize(("start", "lasts", "following"), [(0.1, 0.2, 0.3), (1.1, 2.2, 3.3), (0.2, 0.4, 0.6)])
def test_a_list_is_loaded_before_it_plays(start: float, lasts: float, following: float) -> None:
    """One that begins where the one before ends, by a sum of times that is rounded up: 0.1 s + 0.2 s is later
    than 0.3 s, and what was loaded only then never played.
    """
    spans = [SimpleNamespace(start=start), SimpleNamespace(start=following)]
    points = SimpleNamespace(voltages=np.array([9.0, 12.0]))
    lists = [
        SimpleNamespace(step=step, input="main", points=points, duration=lasts) for step in range(len(spans))
    ]
    moves = sorted(_list_moves(SimpleNamespace(spans=spans), lists, ()), key=lambda move: move.time)
    second = [move.kind for move in moves if move.listing is lists[1]]
    assert second.index("load") < second.index("play")
