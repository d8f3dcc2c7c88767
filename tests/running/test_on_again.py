"""An output that comes on again once it was confirmed off: seen before the run says how it ended; in virtual
time.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.running.stage import AMPLIFIED, Stage
from tests.said import says

from railwright.records.ended import Ended
from railwright.traces import EventKind

UNTIL_ITS_END = AMPLIFIED.replace("  - power_down: {order: [drain, gate], gap: 50 ms}\n", "")


def test_a_run_says_that_an_output_came_on_again_and_is_off(tmp_path: Path) -> None:
    after = 0.45
    mischief = [f"right.1: comes on again {after} s"]
    stage = Stage(tmp_path, procedure=UNTIL_ITS_END, mischief=mischief)
    outcome = stage.run()
    assert (outcome.ended, outcome.off_confirmed) == (Ended.COMPLETED, True)
    first, second = stage.spans("right.1")
    assert first[1] is not None
    assert second[1] is not None
    assert second[0] - first[1] == pytest.approx(after, abs=1e-3)
    assert second[1] - second[0] < 0.1
    assert not stage.is_on("right.1")
    assert not stage.is_on("left.1")
    (caution,) = [each for each in outcome.cautions if "again" in each]
    assert says(caution, "drain", "again", "ms", "confirmed off", "right.1", "OFF")
    (event,) = [each for each in outcome.record.events if each.kind is EventKind.COMES_ON_AGAIN]
    assert event.subject == "drain"
    assert outcome.switched_off["drain"].confirmed


def test_one_that_comes_on_again_each_time_is_not_called_off(tmp_path: Path) -> None:
    mischief = ["right.1: comes on again 0.45 s for 20 times"]
    stage = Stage(tmp_path, procedure=UNTIL_ITS_END, mischief=mischief)
    outcome = stage.run()
    assert not outcome.off_confirmed
    (line,) = [each for each in outcome.not_confirmed if each.startswith("drain")]
    assert says(line, "drain", "came on again 4 times", "mains switch")
