"""A load whose current jumps, at a connector without a capacitor, stops itself: no current limit would help.

The truth is in closed form (common practice, no source): a jump by I takes the connector, 10 nF behind the
inductance L of its lead, down by I sqrt(L / 10 nF); 1.2 m of 0.7 uH/m make 9.2 V/A. It starts at 8 V and
stops at 7 V: it stops where the jump is above 0.11 A.
"""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from tests.said import says
from tests.truth.small import fed_by, write

from railwright.job import Job

OHMS = math.sqrt(1.2 * 0.7e-6 / 10e-9)


@pytest.mark.parametrize("capacitor", [False, True])
@pytest.mark.parametrize("amperes", [0.05, 0.4, 0.7, 1.0])
def test_more_current_is_no_remedy_for_what_rings(amperes: float, capacitor: bool, tmp_path: Path) -> None:
    points = [{"time": time, "current": f"{amperes} A"} for time in ("0 s", "1 s")]
    profile = {"compliance": "1 V", "starts_at": "8 V", "stops_at": "7 V", "points": points}
    load = [{"profile": profile}, *([{"capacitor": {"capacitance": "10 uF", "esr": "100 mohm"}}] * capacitor)]
    given = {**fed_by(*load, nominal="12 V"), "current": {"steady": "0 A .. 1.2 A", "at_most": "3 A"}}
    procedure = {
        "hook_up": {"main": {"from": "s.1", "lead": "pair", "sense": "at terminals"}},
        "limits": {"main": {"current_limit": "2 A", "at_limit": "regulate", "ovp": "16 V"}},
        "steps": [{"power_up": {"order": ["main"], "rise": "1 V/ms", "settle": "300 ms"}, "name": "up"}],
        "record": {"every": "10 ms"},
    }
    findings = Job.open(write(tmp_path, {"main": given}, procedure)).check().findings
    found = [each for each in findings if each.rule == "restarts-for-ever"]
    rings = amperes * OHMS > 8.0 - 7.0 and not capacitor
    assert bool(found) is rings
    for finding in found:
        assert says(finding.why, "profile")
        assert "raise" not in finding.remedy
        assert "capacitor" in finding.remedy
