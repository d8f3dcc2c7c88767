"""The lower end of an OVP's window, dialled in, is no stop: window and rule are one fact. A step below it is
one. The truth: nothing trips in any corner at the end, something does a step below.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests.truth.small import fed_by, supply, write

from railwright.job import Job
from railwright.rehearsal.circuit import uncertain_quantities
from railwright.rehearsal.corners import corner_case

OUTPUT = {
    "programming": {
        "voltage": {"of_value": "0.08 %", "offset": "12 mV", "resolution": "2 mV"},
        "current": {"of_value": "0.3 %", "offset": "8 mA", "resolution": "1 mA"},
    },
    "ovp": {"level": "1 V .. 44 V", "accuracy": "250 mV", "response": "300 us", "at": "terminals"},
    "sense": {"compensates": "1.2 V"},
    "sink": None,
}


def job(folder: Path, ovp: str, volts: float, ohms: float, length: str) -> Job:
    given = fed_by({"resistor": {"resistance": f"{ohms} ohm ± 5 %"}}, nominal=f"{volts} V")
    procedure = {
        "hook_up": {"main": {"from": "s.1", "lead": "pair", "sense": "at load"}},
        "limits": {"main": {"current_limit": "2.5 A", "at_limit": "regulate", "ovp": ovp}},
        "steps": [
            {"power_up": {"order": ["main"], "rise": "1 V/ms", "settle": "200 ms"}, "name": "up"},
            {"hold": "300 ms"},
            {"power_down": {"order": ["main"]}},
        ],
        "record": {"every": "20 ms"},
    }
    lead = {"one_way_length": length}
    return Job.open(write(folder, {"main": given}, procedure, {"s": supply(OUTPUT)}, lead))


@pytest.mark.parametrize(
    ("volts", "ohms", "length"), [(24.0, 40.0, "3 m"), (12.0, 30.0, "5 m"), (5.0, 20.0, "2 m")]
)
def test_the_lower_end_is_no_stop_and_a_step_below_is(
    volts: float, ohms: float, length: str, tmp_path: Path
) -> None:
    def outcome(name: str, level: float) -> tuple[set[str], bool]:
        made = job(tmp_path / name, f"{level:.2f} V", volts, ohms, length)
        check = made.check()
        uncertain: Any = uncertain_quantities(made.documents, check.settings.set_points)
        cases = (corner_case(uncertain, k) for k in range(1 << len(uncertain)))
        trips = any(made.rehearse(case).prediction.inputs["main"].tripped for case in cases)
        return {each.rule for each in check.findings if each.blocks}, trips

    settings = job(tmp_path / "auto", "auto", volts, ohms, length).check().settings
    (low,) = [each.low for each in settings.windows if each.setting == "ovp"]
    assert low is not None
    assert outcome("end", low.value) == (set(), False)
    assert outcome("below", low.value - 0.01) == ({"ovp-below-played"}, True)
