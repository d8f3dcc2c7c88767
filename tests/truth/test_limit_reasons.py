"""What decides a current limit, as its reason says: the rehearsal, or a figure for the steady current."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests.said import says
from tests.truth.small import fed_by, write

from railwright.job import Job
from railwright.settings.findings import Reason


def limit_of(folder: Path, *load: Any, steady: str, settle: str) -> Reason:
    procedure = {
        "hook_up": {"main": {"from": "s.1", "lead": "pair", "sense": "at terminals"}},
        "limits": {"main": {"current_limit": "auto", "at_limit": "trip", "trip_delay": "2 s", "ovp": "30 V"}},
        "steps": [{"power_up": {"order": ["main"], "settle": settle}, "name": "up"}],
        "record": {"every": "10 ms"},
    }
    given = {"current": {"steady": steady, "at_most": "10 A"}, "operating": "20 V .. 30 V"}
    path = write(folder, {"main": fed_by(*load, **given)}, procedure)
    (reason,) = [each for each in Job.open(path).check().settings.reasons if each.setting == "current_limit"]
    return reason


def motor(inertia: str) -> dict[str, Any]:
    """It takes 38 mN·m / 60 mN·m/A = 0.633 A at any speed."""
    return {
        "dc_motor": {
            "resistance": "2.2 ohm",
            "torque_constant": "60 mN*m/A",
            "inertia": inertia,
            "inductance": "1.2 mH",
            "friction": "8 mN*m",
            "load_torque": "30 mN*m",
        }
    }


@pytest.mark.parametrize("inertia", ["900 g*cm2", "1500 g*cm2"])
def test_a_rotor_that_has_to_come_up_in_time_lets_the_rehearsal_decide(inertia: str, tmp_path: Path) -> None:
    """The draw is the same at any voltage: it is named at the highest that is played, not in between."""
    reason = limit_of(tmp_path, motor(inertia), steady="0.4 A .. 0.8 A", settle="400 ms")
    low = next(each.value for each in reason.figures if each.name == "low")
    assert low > 0.8
    assert reason.value == pytest.approx(1.1 * low, rel=0.02)
    assert says(reason.why, "rehearsal decides", "0.8 A", "24 V", "0.6333 A", "1.2 A", "lower end")
    assert not says(reason.why, "declared steady current decides")


@pytest.mark.parametrize(("steady", "decides"), [("0 A .. 1.5 A", "declared"), ("0 A .. 0.4 A", "model")])
def test_a_resistor_lets_the_greater_figure_decide(steady: str, decides: str, tmp_path: Path) -> None:
    reason = limit_of(tmp_path, {"resistor": {"resistance": "24 ohm"}}, steady=steady, settle="200 ms")
    assert not says(reason.why, "rehearsal decides")
    words = (
        ("declared steady current decides", "24 V", "1 A")
        if decides == "declared"
        else ("24 V decides", "0.4 A")
    )
    assert says(reason.why, *words)
