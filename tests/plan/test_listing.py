"""A shape's actions as a waveform, and a list's points in their place."""

from __future__ import annotations

import numpy as np
import pytest

from railwright.plan.listing import Listing, as_played, shape_actions, with_actions
from railwright.plan.set_point import waveform
from railwright.plan.timeline import Action, LimitChange, Timeline, Waiting
from railwright.traces import Span
from railwright.waveforms.point_list import PointList

UP = [Action(0.0, "on", "main"), Action(0.0, "line", "main", 12.0, 0.5)]
SHAPE = [
    Action(1.0, "line", "main", 6.0, step=1),
    Action(1.2, "line", "main", 9.0, 0.1, step=1),
    Action(1.5, "line", "main", 12.0, step=1),
]
OTHER = [Action(1.1, "line", "aux", 5.0)]
AFTER = [Action(2.0, "off", "main", step=2)]
SPANS = (
    Span("up", "power_up", 0.0, 1.0, ("main", "aux")),
    Span("dip", "shape", 1.0, 2.0, ("main",)),
    Span("down", "power_down", 2.0, 2.0, ("main",)),
)
TIMELINE = Timeline(tuple(sorted([*UP, *SHAPE, *OTHER, *AFTER], key=lambda action: action.time)), SPANS, 2.0)


def test_a_steps_own_actions_and_the_level_before_it() -> None:
    found = shape_actions(TIMELINE)
    assert list(found) == [(1, "main")]
    assert found[1, "main"].actions == SHAPE
    assert found[1, "main"].level == 12.0


def test_an_action_belongs_to_its_step_also_where_another_begins() -> None:
    last = Action(1.0, "line", "main", 11.0, step=0)
    own = Action(1.0, "line", "main", 6.0, step=1)
    found = shape_actions(Timeline((last, own), SPANS, 2.0))
    assert list(found) == [(1, "main")]
    assert (found[1, "main"].level, found[1, "main"].actions) == (11.0, [own])


def test_lines_and_steps_as_a_waveform_cut_off_at_the_end_of_the_step() -> None:
    wave = waveform(12.0, [*SHAPE, Action(1.9, "line", "main", 8.0, 0.2)], 1.0, 1.0)
    assert wave.duration == pytest.approx(1.0)
    at = np.array([0.1, 0.25, 0.4, 0.6, 0.95, 1.0])
    assert wave.at(at) == pytest.approx([6.0, 7.5, 9.0, 12.0, 11.0, 10.0])
    assert (wave.time[0], wave.value[0]) == (0.0, 12.0)


@pytest.mark.parametrize("between", ["step", "line"])
def test_the_points_stand_in_place_of_what_was_asked(between) -> None:
    points = PointList(between, 12.0, np.array([6.0, 12.0]), np.array([0.2, 0.3]))
    played = as_played(TIMELINE, [Listing(1, "main", points, 2)])
    own = shape_actions(played)[1, "main"].actions
    assert [action.time for action in own] == pytest.approx([1.0, 1.2, 1.5, 1.7])
    assert [action.voltage for action in own] == [6.0, 12.0, 6.0, 12.0]
    assert [action.over for action in own] == ([0.0] * 4 if between == "step" else [0.2, 0.3, 0.2, 0.3])
    others = [action for action in played.actions if action not in own]
    assert others == [action for action in TIMELINE.actions if action not in SHAPE]
    assert Listing(1, "main", points, 2).duration == pytest.approx(1.0)


def test_other_actions_take_the_place_of_a_steps_own_and_what_comes_between_keeps_its_place() -> None:
    limits = (LimitChange(1.0, "aux", 2.0, ("steps", 0, "shape"), before=2),)
    waits = (Waiting(2.0, "key", 1.0, 2, ("steps", 2, "shape"), before=6),)
    timeline = Timeline(TIMELINE.actions, SPANS, 2.0, limits, waits)
    jump = Action(1.25, "line", "main", 9.0)
    found = with_actions(timeline, {(1, "main"): [jump]})
    assert found.actions == (*UP, *OTHER, jump, *AFTER)
    (limit,), (wait,) = found.limits, found.waits
    assert found.actions[limit.before] is OTHER[0]
    assert found.actions[wait.before] is AFTER[0]
    assert with_actions(timeline, {}) is timeline
