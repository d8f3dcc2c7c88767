"""Coupled set points: where a change takes the others, alone and in a rehearsal."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.rehearsal.scene import PROCEDURE

from railwright.documents.bench import Coupling
from railwright.documents.loader import load_documents
from railwright.documents.output_name import OutputName
from railwright.plan.coupling import all_changes, followers, moved
from railwright.plan.moves import moves_of
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.plan.timeline import Action, Timeline
from railwright.rehearsal.rehearse import rehearse
from railwright.traces import Span

SPANS = (Span("first power", "power_up", 0.0, 0.1, ("main", "transducer")),)


def feed(name: str, output: str) -> Feed:
    points = OutputSetPoints(OutputName(output), 1.0, "regulate", 0.0, 38.0)
    return Feed(name, "alone", (points,), "silicone pair", "at terminals")


FEEDS = {"main": feed("main", "left.1"), "transducer": feed("transducer", "left.2")}


def coupled(*groups):
    """The demo with the outputs of left in these groups."""
    documents = load_documents(PROCEDURE)
    left = documents.bench.supplies["left"].model_copy(update={"coupled": groups})
    bench = documents.bench.model_copy(update={"supplies": {**documents.bench.supplies, "left": left}})
    return replace(documents, bench=bench)


def by(how: str) -> Coupling:
    return Coupling(outputs=("1", "2"), by=how)


UP = (
    Action(0.0, "on", "main", 0.0),
    Action(0.0, "line", "main", 12.0),
    Action(0.0, "on", "transducer", 12.0),
    Action(0.0, "line", "transducer", 24.0),
    Action(0.0, "line", "main", 12.0),
)
"""Both up; with set points coupled by step the second moves the first, which is then set once more."""


@pytest.mark.parametrize(
    ("before", "after", "other", "how", "goes"),
    [
        (12.0, 13.0, 24.0, "step", 25.0),
        (12.0, 9.0, 24.0, "step", 21.0),
        (0.0, 12.0, 0.0, "step", 12.0),
        (12.0, 15.0, 24.0, "ratio", 30.0),
        (12.0, 0.0, 24.0, "ratio", 0.0),
        (0.0, 12.0, 24.0, "ratio", 24.0),
        (12.0, 12.0, 24.0, "ratio", 24.0),
    ],
)
def test_where_a_coupled_set_point_goes(before, after, other, how, goes):
    assert moved(before, after, other, how) == pytest.approx(goes, rel=1e-15)


def test_only_the_own_group_follows():
    bench = coupled(by("step")).bench
    assert [name for name, _ in followers(bench, OutputName("left.1"))] == ["left.2"]
    assert [name for name, _ in followers(bench, OutputName("left.2"))] == ["left.1"]
    assert followers(bench, OutputName("right.1")) == []
    assert followers(load_documents(PROCEDURE).bench, OutputName("left.1")) == []


def test_what_is_done_beside_what_the_procedure_does():
    timeline = Timeline((*UP, Action(0.05, "line", "main", 15.0, 0.01)), SPANS, 0.1)
    changes = all_changes(coupled(by("step")).bench, FEEDS, timeline)
    taken = [(c.time, c.output, c.voltage, c.over, c.moved_by) for c in changes if c.moved_by]
    assert taken == [
        (0.0, "left.2", 12.0, 0.0, "left.1"),
        (0.0, "left.1", 24.0, 0.0, "left.2"),
        (0.0, "left.2", 12.0, 0.0, "left.1"),
        (0.05, "left.2", 15.0, 0.01, "left.1"),
    ]
    own = [c for c in changes if not c.moved_by]
    alone = all_changes(load_documents(PROCEDURE).bench, FEEDS, timeline)
    assert [c for c in own if c.kind == "line"] == [c for c in alone if c.kind == "line"]
    # What is set as it is switched on is set once: nothing moves in between.
    assert [(c.output, c.voltage) for c in own if c.kind == "on"] == [("left.1", 0.0), ("left.2", 12.0)]


@pytest.mark.parametrize("how", ["step", "ratio"])
@pytest.mark.parametrize(
    ("volts", "again"), [(31.70246443352219, 31.702464433522195), (0.1 + 0.2, 0.3), (13.1, 13.1)]
)
def test_a_set_point_that_is_told_again_moves_no_other(how: str, volts: float, again: float) -> None:
    """The two points at the top of a sine are one level, worked out twice: draws 63/49 and 66/24 rehearsed a
    jump of the coupled input in place of the line on which it was.
    """
    up = (Action(0.0, "on", "transducer", 20.0), Action(0.0, "on", "main", 10.0))
    told = (Action(0.01, "line", "main", volts, 0.02), Action(0.03, "line", "main", again, 0.02))
    timeline = Timeline((*up, *told), SPANS, 0.1)
    changes = all_changes(coupled(by(how)).bench, FEEDS, timeline)
    assert [c.time for c in changes if c.moved_by and c.time > 0.0] == [0.01]


@pytest.mark.parametrize("how", ["step", "ratio"])
@pytest.mark.parametrize("first", [0.0, 6.0, 12.0, 20.0])
@pytest.mark.parametrize("over", [0.02, 0.04])
def test_a_line_has_the_slew_that_a_run_tells(how: str, first: float, over: float) -> None:
    """Whatever a coupled output has moved the set point to meanwhile: draws 111/103, 111/137 and 111/186
    rehearsed a slower rise onto a battery than the run plays.
    """
    actions = (
        Action(0.0, "on", "transducer", 0.0),
        Action(0.0, "line", "transducer", first),
        Action(0.05, "on", "main", 0.0),
        Action(0.05, "line", "main", 12.0, over),
        Action(0.10, "off", "main"),
        Action(0.12, "on", "main", 0.0),
        Action(0.12, "line", "main", 9.0, over),
    )
    bench, timeline = coupled(by(how)).bench, Timeline(actions, SPANS, 0.2)
    told = {each.time: each.slew for each in all_changes(bench, FEEDS, timeline) if each.slew}
    run = {each.time: each.slew for each in moves_of(timeline, FEEDS, bench).moves if each.input == "main"}
    assert told == {0.05: 12.0 / over, 0.12: 9.0 / over}
    assert {time: run[time] for time in told} == told


def test_a_set_point_stays_in_the_range_of_its_output():
    up = (Action(0.0, "on", "transducer", 30.0), Action(0.0, "on", "main", 10.0))
    timeline = Timeline((*up, Action(0.01, "line", "main", 15.0)), SPANS, 0.1)
    last = all_changes(coupled(by("ratio")).bench, FEEDS, timeline)[-1]
    assert (last.output, last.voltage) == ("left.2", 36.0)


def test_outputs_of_one_input_are_told_their_own_part():
    points = tuple(
        OutputSetPoints(OutputName(f"left.{n}"), 1.0, "regulate", 0.0, 38.0, share=0.5) for n in (1, 2)
    )
    both = {"main": Feed("main", "series", points, "silicone pair", "at terminals")}
    changes = all_changes(coupled(by("step")).bench, both, Timeline(UP[:2], SPANS, 0.1))
    assert [(c.output, c.voltage) for c in changes[-2:]] == [("left.1", 6.0), ("left.2", 6.0)]


@pytest.mark.parametrize(("how", "before", "goes"), [("step", 12.0, 15.0), ("ratio", 24.0, 30.0)])
def test_the_other_input_moves_in_a_rehearsal(how, before, goes):
    up = (
        Action(0.0, "on", "transducer", 24.0),
        Action(0.0, "on", "main", 0.0),
        Action(0.0, "line", "main", 12.0),
    )
    timeline = Timeline((*up, Action(0.05, "line", "main", 15.0)), SPANS, 0.12)
    documents = coupled(by(how))
    played = rehearse(documents, FEEDS, timeline=timeline, tail=0.0).record.traces["transducer"]
    volts = [float(np.interp(t, played.time, played.columns["terminal_voltage"])) for t in (0.049, 0.12)]
    assert volts == pytest.approx([before, goes], abs=0.02)
    alone = rehearse(load_documents(PROCEDURE), FEEDS, timeline=timeline, tail=0.0).record.traces[
        "transducer"
    ]
    assert float(alone.columns["terminal_voltage"][-1]) == pytest.approx(24.0, abs=0.02)
