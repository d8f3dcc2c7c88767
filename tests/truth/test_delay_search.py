"""The lower end of a trip delay where a converter stops in some corners and runs through in others: no corner
beside the one that was found stays longer in the limit, and values between are said not to be played.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests.truth.small import fed_by, supply, write

from railwright.job import Job
from railwright.rehearsal.circuit import uncertain_quantities
from railwright.rehearsal.corners import corner_case
from railwright.traces import EventKind

OUTPUT = {
    "voltage": "0 V .. 20 V",
    "current": "0 A .. 10 A",
    "power": "120 W",
    "programming": {
        "voltage": {"of_value": "0.05 %", "offset": "5 mV", "resolution": "1 mV"},
        "current": {"of_value": "0.1 %", "offset": "5 mA", "resolution": "1 mA"},
    },
    "rise": "5 ms",
    "fall": {"loaded": "8 ms"},
    "slew": "1 V/s .. 5 V/ms",
    "limit_response": "400 us",
    "output_capacitance": "800 uF",
    "bleeder": "3 kohm",
    "sink": None,
}


def job(folder: Path, delay: str, farads: str, gap: str | None) -> Job:
    converter = {
        "output_power": "25 W ± 5 %",
        "efficiency": "86 % .. 92 %",
        "starts_at": "7.2 V .. 7.6 V",
        "stops_at": "6.2 V .. 6.6 V",
        "soft_start": "10 ms",
        "input_current_limit": "4.5 A",
    }
    load: list[Any] = [
        {"capacitor": {"capacitance": f"{farads} ± 20 %", "esr": "30 mohm"}},
        {"converter": converter},
        {"resistor": {"resistance": "100 ohm ± 5 %"}},
    ]
    given = {**fed_by(*load, nominal="12 V"), "current": {"at_most": "9 A"}}
    segments = [
        {"line_to": "13.5 V", "over": "2 ms"},
        {"hold": "100 ms"},
        {"off_for": gap},
        {"hold": "200 ms"},
    ]
    procedure = {
        "hook_up": {"main": {"from": "s.1", "lead": "pair", "sense": "at load"}},
        "limits": {
            "main": {"current_limit": "5 A", "at_limit": "trip", "trip_delay": delay, "ovp": "14.8 V"}
        },
        "steps": [
            {"power_up": {"order": ["main"], "rise": "2 V/ms", "settle": "300 ms"}, "name": "up"},
            {"shape": {"input": "main", "segments": segments}, "name": "dip"} if gap else {"hold": "1 s"},
            {"power_down": {"order": ["main"]}},
        ],
        "record": {"every": "10 ms"},
    }
    return Job.open(write(folder, {"main": given}, procedure, {"s": supply(OUTPUT, exchange="5 ms")}))


def in_limit(made: Job, case: Any) -> float:
    """Longest stretch from 'enters CC' to the output's next event, in a case with 1 s of delay [s]."""
    longest, since = 0.0, None
    for event in made.rehearse(case).record.events:
        if event.subject == "s.1":
            if since is not None:
                longest = max(longest, event.time - since)
            since = event.time if event.kind is EventKind.ENTERS_CC else None
    return longest


@pytest.mark.parametrize(("farads", "gap"), [("2200 uF", "6 ms"), ("2200 uF", "7 ms"), ("2700 uF", "8 ms")])
def test_no_corner_beside_the_one_found_stays_longer(farads: str, gap: str, tmp_path: Path) -> None:
    made = job(tmp_path, "1 s", farads, gap)
    check = made.check()
    (window,) = [each for each in check.settings.windows if each.setting == "trip_delay"]
    (end,) = [each for each in window.ends if each.replay is not None and each.side == "low"]
    assert end.replay is not None
    assert end.replay.corner is not None
    uncertain = uncertain_quantities(made.documents, check.settings.set_points)
    own = in_limit(made, corner_case(uncertain, end.replay.corner))
    assert own <= end.value < own + 2e-4
    beside = [
        in_limit(made, corner_case(uncertain, end.replay.corner ^ 1 << k)) for k in range(len(uncertain))
    ]
    assert len(beside) == 12
    assert max(beside) <= own * (1.0 + 1e-6)


@pytest.mark.parametrize(("delay", "rule"), [("13.7 ms", "outside-window"), ("14.5 ms", "window-end-unsure")])
def test_a_delay_that_cases_between_the_corners_exceed_is_told(delay: str, rule: str, tmp_path: Path) -> None:
    rules = {each.rule for each in job(tmp_path / "a", delay, "2200 uF", "6 ms").check().findings}
    assert {"outside-window", "window-end-unsure"} & rules == {rule}
    rules = {each.rule for each in job(tmp_path / "b", "30 ms", "2200 uF", "6 ms").check().findings}
    assert not {"outside-window", "window-end-unsure"} & rules


def test_where_each_tolerance_adds_its_own_the_worst_is_a_corner(tmp_path: Path) -> None:
    """A capacitor and a resistor: C·V/(I - V/R) is longest with C high and R low; no converter stops."""
    check = job(tmp_path, "9 ms", "2200 uF", None).check()
    assert "window-end-unsure" not in {each.rule for each in check.findings}
