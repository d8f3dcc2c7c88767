"""Lines that are told while a jump goes on, whatever cuts them: none is played backwards or out of turn."""

from __future__ import annotations

from itertools import pairwise, product
from pathlib import Path

import pytest
from tests.truth.small import fed_by, supply, write

from railwright.job import Job
from railwright.plan.sending import as_reached
from railwright.plan.timeline import Action

READING = {
    "voltage": {"of_value": "0.05 %", "offset": "8 mV", "resolution": "1 mV", "noise": "1 mV"},
    "current": {"of_value": "0.1 %", "offset": "5 mA", "resolution": "0.1 mA", "noise": "0.1 mA"},
    "update": "10 ms",
    "aperture": "8 ms",
    "latency": "3 ms",
}

AFTER = {
    "a ripple": [
        {"ripple": "sine", "peak_to_peak": "2.4 V", "frequency": "10 Hz", "on": "24 V", "for": "300 ms"}
    ],
    "a slow ripple": [
        {"ripple": "sine", "peak_to_peak": "4 V", "frequency": "2 Hz", "on": "22 V", "for": "500 ms"}
    ],
    "a decay": [{"exponential_to": "12 V", "time_constant": "50 ms", "for": "150 ms"}],
    "short lines": [{"line_to": f"{20 + n % 3} V", "over": "15 ms"} for n in range(8)],
}
SLEWS = ("60 V/s", "104 V/s", "300 V/s")


@pytest.mark.parametrize(("what", "slew"), [*product(AFTER, SLEWS)])
def test_what_is_played_goes_on_in_time_and_to_what_was_asked(what: str, slew: str, tmp_path: Path) -> None:
    output = {"reading": READING, "voltage": "0 V .. 30 V", "slew": f"1 V/s .. {slew}"}
    output["ovp"] = {"level": "1 V .. 33 V", "accuracy": "100 mV", "response": "200 us", "at": "terminals"}  # type: ignore[assignment]
    device = fed_by({"resistor": {"resistance": "400 ohm"}}, nominal="24 V", operating="9 V .. 28 V")
    shape = [{"step_to": "12.9 V"}, {"hold": "5 ms"}, *AFTER[what], {"step_to": "24 V"}, {"hold": "300 ms"}]
    procedure = {
        "hook_up": {"in": {"from": "s.1", "lead": "pair", "sense": "at terminals"}},
        "limits": {"in": {"current_limit": "1 A", "at_limit": "regulate", "ovp": "30 V"}},
        "steps": [
            {"power_up": {"order": ["in"], "settle": "600 ms"}},
            {"shape": {"input": "in", "segments": shape}},
            {"power_down": {"order": ["in"]}},
        ],
        "record": {"every": "10 ms"},
    }
    check = Job.open(write(tmp_path, {"in": device}, procedure, {"s": supply(output)})).settle()
    actions = [each for each in check.plan.played.actions if each.input == "in"]
    assert all(one.time <= other.time for one, other in pairwise(actions))
    assert all(each.over >= 0.0 for each in actions)
    asked = [
        each.voltage for each in check.plan.timeline.actions if each.kind == "line" and each.voltage > 0.0
    ]
    lines = [each for each in actions if each.kind == "line" and each.voltage > 0.0]
    assert all(min(asked) - 1e-6 <= each.voltage <= max(asked) + 1e-6 for each in lines)


@pytest.mark.parametrize("off_after", [0.02, 0.05, 0.09])
def test_off_leaves_the_set_point_on_its_way(off_after: float) -> None:
    """A coupled output that stays on goes with it, to where the line was told to lead."""
    line = Action(1.0, "line", "in", 1.0, 0.1, ("steps", 0))
    off = Action(1.0 + off_after, "off", "in", 0.0, 0.0, ("steps", 0))
    assert as_reached([line, off], 3.0) == [line, off]
    again = Action(1.0 + off_after, "line", "in", 2.0, 0.0, ("steps", 0))
    cut = as_reached([line, again], 3.0)[0]
    assert cut.voltage == pytest.approx(3.0 - 20.0 * off_after)
    assert cut.over == pytest.approx(off_after)
