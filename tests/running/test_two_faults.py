"""Two things at once: what one of them alone would not do."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.running.stage import AMPLIFIED, AMPLIFIER, GATE_AND_DRAIN, Stage
from tests.said import figures, says

from railwright.records.ended import Ended


@pytest.mark.parametrize("later", [0.0, 0.02, 0.1, 0.3])
def test_a_second_request_to_stop_leaves_no_gate_on(tmp_path: Path, later: float) -> None:
    """The drain is off in a moment, and the gate goes after it, however impatient somebody is."""
    stage = Stage(tmp_path)

    def twice() -> None:
        stage.stop.request("asked")
        stage.loop.call_later(later, stage.stop.request, "asked again")

    stage.at_step["steady"] = twice
    outcome = stage.run()
    assert (outcome.ended, outcome.off_confirmed) == (Ended.INTERRUPTED, True), outcome.not_confirmed
    assert not stage.is_on("right.1")
    assert not stage.is_on("left.1")


def test_an_output_that_comes_on_again_while_another_is_waited_for_is_not_called_off(
    tmp_path: Path,
) -> None:
    """The gate waits for nothing here: it is confirmed off long before the drain's supply is back."""
    free = AMPLIFIED.replace("off_after: [drain]GATE", "off_after: []")
    stuck = ["right: refuses at 0.6 s for 2.5 s", "left.1: comes on at 2 s", "left.1: stays on at 2 s"]
    stage = Stage(tmp_path, procedure=free, mischief=stuck)
    outcome = stage.run()
    assert stage.is_on("left.1")
    assert not outcome.off_confirmed
    (line,) = outcome.not_confirmed
    assert says(line, "gate", "left.1", "left.1", "on")


@pytest.mark.parametrize("stage_of", ["identify the supplies", "ask what is on"])
def test_off_from_elsewhere_before_the_guard_was_given_a_plan_ends_the_run(
    tmp_path: Path, stage_of: str
) -> None:
    """It is no fault of a supply, and the guard takes no plan that it can no longer carry out."""
    stage = Stage(tmp_path)

    def asked(text: str) -> None:
        if text == stage_of:
            stage.loop.call_later(0.001, stage.link.guard.switch_off, "switched off by 'railwright off'")

    stage.preparing = asked  # type: ignore[method-assign]
    outcome = stage.run()
    assert (outcome.ended, outcome.cause) == (Ended.STOPPED, "switched off by 'railwright off'")
    assert stage.link.guard.plan is None
    assert outcome.switched_off == {}


def test_a_slow_supply_is_not_taken_for_a_guard_that_hangs(tmp_path: Path) -> None:
    """OFF of the procedure waits for a reading and a question for settings, 0.7 s each."""
    stage = Stage(tmp_path, mischief=["right: slow 700 ms at 0.6 s"])
    outcome = stage.run()
    assert outcome.ended in (Ended.COMPLETED, Ended.INSTRUMENT), outcome.cause
    assert "guard" not in outcome.cause
    assert not stage.is_on("right.1")


def test_an_input_of_less_than_a_volt_that_stays_on_is_not_called_off(tmp_path: Path) -> None:
    """It says off, next to no current flows, and its 0.9 V stand there as before."""
    device = AMPLIFIER.replace("nominal: 3 V", "nominal: 0.9 V").replace("2 V .. 4 V", "0.8 V .. 1 V")
    device = device.replace("resistance: 300 ohm", "resistance: 300 kohm")
    stage = Stage(tmp_path, device, mischief=["left.1: stays on but says off at 0.6 s"])
    outcome = stage.run(GATE_AND_DRAIN)
    assert stage.is_on("left.1")
    assert not outcome.off_confirmed
    (line,) = outcome.not_confirmed
    assert says(line, "gate", "left.1")
    assert figures(line)[0].startswith("0.8")
    assert says(line, "0.45 V")
