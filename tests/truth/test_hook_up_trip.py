"""`hook_up: auto` finds what is hooked up by hand where a protection is required to trip.

What a step plays in which the OVP is to trip lies above its level by intent; the check of a written hook-up
says so, and the one that is worked out must not ask for a higher level.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests.truth.small import fed_by, supply, write

from railwright.job import Job


@pytest.mark.parametrize("required", [True, False])
@pytest.mark.parametrize(("top", "ovp"), [(30.0, 29.0), (20.0, 16.0), (36.0, 33.5)])
def test_a_required_trip_is_no_obstacle(top: float, ovp: float, required: bool, tmp_path: Path) -> None:
    requires = [
        {"name": "t", "measure": "trip_time", "of": "main", "during": "trip", "at_most": "1.2 s", "by": "OVP"}
    ]
    segments = [{"line_to": f"{top} V", "over": "1 s"}, {"hold": "300 ms"}]
    steps = [
        {"power_up": {"order": ["main"], "rise": "200 V/s", "settle": "1 s"}, "name": "up"},
        {"shape": {"input": "main", "segments": segments}, "name": "trip"},
    ]
    given: dict[str, Any] = {**fed_by({"resistor": {"resistance": "60 ohm"}}, nominal="12 V")}
    given["current"] = {"steady": "0.1 A .. 0.7 A", "at_most": "1.5 A"}
    limits = {"main": {"current_limit": "900 mA", "at_limit": "regulate", "ovp": f"{ovp} V"}}
    written = {"from": "s.1", "lead": "pair", "sense": "at terminals"}
    for name, hook_up in (("auto", "auto"), ("written", {"main": written})):
        procedure = {
            "hook_up": hook_up,
            "limits": limits,
            "steps": steps,
            "record": {"every": "10 ms"},
            **({"requires": requires} if required else {}),
        }
        check = Job.open(write(tmp_path / name, {"main": given}, procedure, {"s": supply({})})).check()
        stops = {each.rule for each in check.findings if each.blocks}
        impossible = "hook-up-impossible" if name == "auto" else "ovp-below-played"
        assert (impossible in stops) is not required, (name, stops)
