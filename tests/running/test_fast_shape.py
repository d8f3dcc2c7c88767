"""Set points that come faster than the supplies take them: time, readings and stop conditions go on."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from tests.running.small import PROCEDURE
from tests.running.virtual import Played, play

from railwright.records.ended import Ended
from railwright.twin.server import ReplyTime

RIPPLE = """\
  - shape:
      input: main
      segments: [{ripple: sine, peak_to_peak: 2 V, frequency: 50 Hz, for: 2 s, on: 12 V}]
    name: ripple
"""
SLOW = ReplyTime(message=0.02)
"""20 ms a message, while the bench document states an exchange of 1 ms."""


def rippled(folder: Path, *more: str) -> Played:
    procedure = PROCEDURE.replace("  - sweep:", RIPPLE + "  - sweep:") + "".join(more)
    return play(
        folder,
        procedure,
        reply=SLOW,
        edit_bench=lambda text: text.replace(
            "dialect: channel-list", "dialect: channel-list\n    exchange: 1 ms"
        ),
    )


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> Played:
    return rippled(tmp_path_factory.mktemp("ripple"))


def test_two_seconds_take_two_seconds(played: Played) -> None:
    assert played.outcome.ended is Ended.COMPLETED, played.outcome.cause
    ripple = played.outcome.record.span("ripple")
    assert ripple.end - ripple.start == pytest.approx(2.0, abs=0.06)


def test_what_cannot_be_kept_is_left_out_and_counted(played: Played) -> None:
    ripple = played.outcome.record.span("ripple")
    # 3,200 lines of 625 µs: of those that are 1 ms apart the supplies keep every twentieth.
    beforehand, meanwhile = (
        next(int(number) for number in re.findall(r"(\d+) set points (?:are|were)", line))
        for line in played.outcome.deviations
        if "set points" in line
    )
    assert meanwhile > 100
    assert ripple.left_out == beforehand + meanwhile > 2900


def test_readings_keep_their_interval(played: Played) -> None:
    ripple = played.outcome.record.span("ripple")
    times = played.outcome.record.traces["main"].between(ripple.start, ripple.end).time
    # A reading takes 20 ms, as a set point does: they take turns.
    assert times.size > 2.0 / 0.05
    assert np.diff(times).max() < 0.07


def test_a_stop_condition_that_holds_ends_it(tmp_path: Path) -> None:
    stop = "stop_when: [{input: main, during: ripple, current_above: 200 mA, for: 100 ms}]\n"
    played = rippled(tmp_path, stop)
    assert played.outcome.ended is Ended.STOPPED
    assert "above 0.2 A for 100 ms" in played.outcome.cause
    ripple = played.outcome.record.span("ripple")
    assert ripple.end - ripple.start < 0.35
