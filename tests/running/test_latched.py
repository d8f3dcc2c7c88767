"""A trip of an earlier run that does not clear: nothing is energised, and what stands is named."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from tests.running.stage import BENCH, Stage

from railwright.instruments.supply import SupplyDriver
from railwright.records.ended import Ended
from railwright.twin.server import ReplyTime


def latched(folder: Path, dialect: str, output: str) -> Stage:
    """One of the outputs is too hot, so that nothing clears its trip."""
    side = "channel-list" if output.startswith("left") else "selected-output"
    stage = Stage(folder, bench=BENCH.replace(f"dialect: {side}", f"dialect: {dialect}"))
    supply = stage.network.servers[output.partition(".")[0]].supply
    supply.plant.heat(output)
    return stage


@pytest.mark.parametrize(
    ("dialect", "output"),
    [
        ("channel-list", "left.1"),
        ("numbered-header", "left.1"),
        ("prefixed", "left.1"),
        ("named-output", "left.1"),
        ("selected-apart", "left.1"),
        ("selected-output", "right.1"),
        ("channel-list", "right.1"),
    ],
)
def test_a_trip_that_stands_after_clearing_ends_the_run_before_anything_is_on(
    tmp_path: Path, dialect: str, output: str
) -> None:
    stage = latched(tmp_path, dialect, output)
    outcome = stage.run()
    assert outcome.ended is Ended.INSTRUMENT
    side, own = output.split(".")
    for told in (side, f"output {own}", "OTP", "PROTection:CLEar"):
        assert told in outcome.cause
    assert [stage.spans(each) for each in ("left.1", "left.2", "right.1")] == [(), (), ()]
    sent = [line for _, way, line in stage.lines if way == "sent"]
    assert sent
    assert not [line for line in sent if re.search(r"STATe (ON|1)\b", line)]


@pytest.mark.parametrize("dialect", ["channel-list", "numbered-header"])
def test_one_that_is_not_used_may_stay_tripped(tmp_path: Path, dialect: str) -> None:
    stage = latched(tmp_path, dialect, "left.2")
    outcome = stage.run()
    assert (outcome.ended, outcome.off_confirmed) == (Ended.COMPLETED, True), outcome.cause


@pytest.mark.parametrize("dialect", ["selected-apart", "prefixed"])
@pytest.mark.parametrize("slow", [25e-3, 40e-3])
def test_on_that_is_refused_is_named_by_the_entry_and_by_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, dialect: str, slow: float
) -> None:
    """The set point was taken, and is asked for by the guard while the rest of the queue is."""
    monkeypatch.setattr(SupplyDriver, "cleared", lambda *_: None, raising=False)
    stage = latched(tmp_path, dialect, "left.1")
    stage.network.servers["left"].reply_time = ReplyTime(slow, slow)
    outcome = stage.run()
    assert outcome.ended is Ended.INSTRUMENT, outcome.cause
    assert "-221" in outcome.cause
    assert stage.spans("left.1") == ()
