"""A run that somebody's own program starts: in a notebook's event loop, where something cannot be had."""

from __future__ import annotations

import asyncio
import os
import signal
from pathlib import Path
from typing import Any

import pytest
from tests.running.small import Small

from railwright.guard.process_link import ProcessLink
from railwright.records.ended import Ended
from railwright.running.outcome import RunOutcome, RunRefused


def test_a_guard_that_dies_under_a_notebook_is_taken_over_from(bench: Small) -> None:
    link = ProcessLink()
    bench.during_steady(lambda: os.kill(link.pid, signal.SIGKILL))

    async def cell() -> RunOutcome:
        return bench.run(link=link)

    outcome = asyncio.run(cell())
    assert bench.ever_on
    assert bench.everything_off
    assert (outcome.ended, outcome.off_confirmed) == (Ended.GUARD, True)


def test_a_guard_that_cannot_be_started_refuses_the_run(
    bench: Small, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none_left(*_: Any, **__: Any) -> Any:
        raise BlockingIOError(11, "Resource temporarily unavailable")

    monkeypatch.setattr("subprocess.Popen", none_left)
    with pytest.raises(RunRefused, match=r"Resource temporarily unavailable"):
        bench.run()


def test_a_log_that_fails_to_open_leaves_no_guard(bench: Small) -> None:
    link = ProcessLink()

    def broken(_: Path) -> Any:
        raise RuntimeError("no log")

    with pytest.raises(RuntimeError, match="no log"):
        bench.run(link=link, open_log=broken)
    assert link._process.poll() == 0
