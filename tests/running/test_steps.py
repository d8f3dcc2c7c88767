"""Steps as they really were: whether played to their end, how late, and what was left out."""

from __future__ import annotations

from collections import deque
from typing import Any

import pytest

from railwright.plan.moves import Move
from railwright.records.log import Log
from railwright.records.stored import read_record
from railwright.running.outcome import Progress
from railwright.running.recorder import RunRecorder
from railwright.running.steps import Steps
from railwright.traces import Span

SPANS = (Span("up", "power_up", 0.0, 1.0, ("main",)), Span("hold", "hold", 1.0, 3.0, ("main",)))
UP = Move(0.0, 0, "main", "on", 12.0, None)


@pytest.fixture
def steps(tmp_path: Any) -> Steps:
    steps = Steps(SPANS, RunRecorder(Log(tmp_path / "log.ndjson"), Progress(), {"main": "at load"}))
    steps.moved(UP, 0.002)
    return steps


def spans_of(steps: Steps) -> list[Span]:
    return steps._recorder.spans


def test_what_happens_belongs_to_the_step_that_goes_on(steps: Steps) -> None:
    for late in (0.002, 0.03, 0.001):
        steps.late(late)
    steps.left_out(2)
    steps.left_out(1)
    steps.time_error(0.004)
    steps.time_error(0.001)
    steps.pass_time(1.0, deque())
    steps.late(0.005)
    steps.end(3.0)
    up, hold = spans_of(steps)
    assert (up.whole, up.late, up.left_out, up.time_error) == (True, 0.03, 3, 0.004)
    assert (hold.whole, hold.late, hold.left_out, hold.time_error) == (True, 0.005, 0, 0.0)


@pytest.mark.parametrize(
    ("end", "said", "whole"),
    [(3.0, True, True), (2.999, True, False), (3.2, False, False), (1.5, False, False)],
)
def test_a_step_that_ends_before_its_time_is_not_whole_whatever_is_said(
    steps: Steps, end: float, said: bool, whole: bool
) -> None:
    steps.pass_time(1.0, deque())
    steps.end(end, whole=said)
    assert [span.whole for span in spans_of(steps)] == [True, whole]


def test_time_that_was_waited_does_not_make_a_step_whole(steps: Steps) -> None:
    steps.held = 5.0
    steps.pass_time(1.0, deque())
    steps.end(7.5)
    assert [span.whole for span in spans_of(steps)] == [True, False]


def test_the_log_says_the_same(steps: Steps, tmp_path: Any) -> None:
    steps.late(0.03)
    steps.pass_time(1.0, deque())
    steps.end(2.0, whole=False)
    steps.end(3.0)
    steps._recorder.close()
    assert list(read_record(tmp_path / "log.ndjson")[0].spans) == spans_of(steps)
    assert not spans_of(steps)[-1].whole
