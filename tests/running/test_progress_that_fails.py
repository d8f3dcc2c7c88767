"""Whoever is told how a run goes on may fail: OFF goes out first, and the guard is let go."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests.running.stage import Stage

from railwright.records.ended import Ended


def fails(stage: Stage, method: str, error: BaseException, after: float = 0.0) -> None:
    """Have one thing that is told end in an exception, from an instant of the run on."""

    def raising(*_: Any) -> None:
        if stage.loop.now() - 1000.0 >= after:
            raise error

    setattr(stage, method, raising)


@pytest.mark.parametrize(
    ("method", "after", "ended"),
    [
        ("event", 0.0, Ended.FAULT),
        ("event", 1.0, Ended.FAULT),
        ("reading", 1.0, Ended.FAULT),
        ("step_started", 0.0, Ended.FAULT),
        ("switching_off", 0.0, Ended.COMPLETED),
    ],
)
def test_one_that_raises_ends_in_no_traceback(
    tmp_path: Path, method: str, after: float, ended: Ended
) -> None:
    stage = Stage(tmp_path)
    fails(stage, method, ValueError("no such terminal"), after)
    outcome = stage.run()
    assert (outcome.ended, outcome.off_confirmed) == (ended, True), outcome.cause
    assert not stage.is_on("left.1")
    assert not stage.is_on("right.1")
    assert ("no such terminal" in outcome.fault) == (ended is Ended.FAULT)
    assert any("no such terminal" in line for line in outcome.cautions) or method == "step_started"


@pytest.mark.parametrize("method", ["event", "switching_off"])
def test_one_that_ends_the_program_still_lets_the_guard_go(tmp_path: Path, method: str) -> None:
    """A guard that nobody lets go ends the process that it thinks hangs."""
    stage = Stage(tmp_path)
    fails(stage, method, SystemExit(3), 0.4)
    with pytest.raises(SystemExit):
        stage.run()
    assert stage.link.guard.ends is not None
    assert all(end["confirmed"] for end in stage.link.guard.ends.values())


def test_off_goes_out_before_anybody_is_told(tmp_path: Path) -> None:
    stage = Stage(tmp_path, mischief=["left: reset at 0.6 s"])
    told: list[str] = []
    stage.event = lambda event: told.append(  # type: ignore[method-assign,assignment]
        f"{event.what}: {'fenced' if stage.link.guard.fenced else 'not yet'}"
    )
    assert stage.run().ended is Ended.INSTRUMENT
    assert "instrument fails: fenced" in told
    assert "run ends: fenced" in told
