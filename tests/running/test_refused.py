"""A supply that refuses a command: OFF goes out first, and the rest of its error queue is read then."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.bench import replaced
from tests.running.stage import AMPLIFIED, Stage

from railwright.records.ended import Ended

ANSWERS_IN = 0.08
"""What the supply takes for each message [s]: fifteen entries of its queue are more than a second."""

SWEEP = "  - sweep: {input: gate, from: 3 V, to: 2.5 V, points: 2, dwell: 300 ms}\n"
SWEPT = replaced(AMPLIFIED, ("  - power_down", f"{SWEEP}  - power_down"))


@pytest.mark.parametrize("errors", [2, 15])
@pytest.mark.parametrize(("procedure", "refuses"), [(AMPLIFIED, "right"), (SWEPT, "left")])
def test_off_goes_out_before_an_error_queue_is_read(
    tmp_path: Path, procedure: str, refuses: str, errors: int
) -> None:
    """The first command that is told to it after its errors ends the run; both inputs, or one, are on
    then.
    """
    mischief = [f"{refuses}: error -310 at 0.9 s"] + [f"{refuses}: error -241 at 0.91 s"] * (errors - 1)
    slow = f"{refuses}: slow {ANSWERS_IN * 1e3:g} ms at 0.95 s"
    stage = Stage(tmp_path, procedure=procedure, mischief=[*mischief, slow])
    outcome = stage.run()
    assert (outcome.ended, outcome.off_confirmed) == (Ended.INSTRUMENT, True)
    assert "-310" in outcome.cause
    assert "-241" not in outcome.cause
    began = next(each["time"] for each in stage.link.told if each["kind"] == "off begun")
    # The gate's waits for that, whose voltage has to fall.
    drain_off = stage.spans("right.1")[-1][1]
    assert drain_off is not None
    assert drain_off - began < 3 * ANSWERS_IN
    # Nothing was asked of it between its refusal and OFF.
    *_, last = (line for name, way, line in stage.lines if name == refuses and way == "received")
    assert "-310" in last
    (asked,) = (each["answers"] for each in stage.link.told if each.get("what") == "errors")
    assert [answer.split(",")[0] for answer in asked] == ["-241"] * (errors - 1) + ["0"]
    assert any("-241" in each for each in outcome.cautions)


def test_a_run_that_nothing_refuses_asks_for_no_errors_at_its_end(tmp_path: Path) -> None:
    stage = Stage(tmp_path)
    assert stage.run().ended is Ended.COMPLETED
    assert not [each for each in stage.link.told if each.get("what") == "errors"]
