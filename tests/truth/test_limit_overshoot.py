"""`limit-overshoot` says what may flow until the limit has responded: only where a load can ask for it.

A winding's current grows from 0 towards V/R and never exceeds it (its equation, L di/dt = v - R i); a cold
filament draws V/R_cold at once.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests.truth.small import fed_by, write
from tests.truth.table import TruthTable

from railwright.job import Job


@pytest.mark.case("limit-at-its-end")
@pytest.mark.parametrize(
    ("load", "asks"),
    [
        ({"coil": {"resistance": "45 ohm", "inductance": "600 mH"}}, False),  # 0.53 A
        ({"coil": {"resistance": "45 ohm", "inductance": "1 mH", "diode_drop": "0.8 V"}}, False),
        ({"resistor": {"resistance": "45 ohm"}}, False),
        # 0.53 A hot, 5 A cold
        (
            {
                "filament_lamp": {
                    "rated_voltage": "24 V",
                    "rated_current": "0.53 A",
                    "cold_resistance": "4.8 ohm",
                }
            },
            True,
        ),
    ],
)
def test_it_is_told_where_a_load_may_ask_for_so_much(
    load: Any, asks: bool, tmp_path: Path, truth_table: TruthTable
) -> None:
    given = {**fed_by(load), "current": {"steady": "0.4 A .. 0.7 A", "at_most": "1.2 A"}}
    procedure = {
        "hook_up": {"main": {"from": "s.1", "lead": "pair", "sense": "at terminals"}},
        "limits": {"main": {"current_limit": "900 mA", "at_limit": "regulate", "ovp": "29 V"}},
        "steps": [
            {"power_up": {"order": ["main"], "settle": "1 s"}, "name": "up"},
            {
                "shape": {"input": "main", "segments": [{"step_to": "20 V"}, {"hold": "300 ms"}]},
                "name": "pull",
            },
        ],
        "record": {"every": "10 ms"},
    }
    findings = Job.open(write(tmp_path, {"main": given}, procedure)).check().findings
    said = any(each.rule == "limit-overshoot" for each in findings)
    truth_table.compare("more than 1.2 A may flow until the limit of 0.9 A responds", asks, said)
