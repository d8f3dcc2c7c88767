"""How long an input takes to empty whose load does not run, or stops, and whose rotor goes on turning.

The truth is worked out here. A converter that does not run leaves R·C·ln(V / v) to the bleeder; one that runs
draws P / (η v) beside it, so that v² falls as d(v²)/dt = -2 v² / R C - 2 P / (η C), down to where it stops.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
from scipy.integrate import solve_ivp
from tests.truth.small import fed_by, supply, write

from railwright.job import Job
from railwright.settings.findings import Finding

OWN, BELOW = 150e-6, 1.0
"""The output's own capacitor [F], and what counts as off of a nominal voltage of 20 V or less [V]."""


def written(folder: Path, *load: Any, up_to: float, bleeder: float = 2e3) -> Path:
    """One input, powered up to a voltage and down again."""
    up = {"order": ["main"], "voltages": {"main": f"{up_to} V"}, "settle": "1 s"}
    procedure = {
        "hook_up": {"main": {"from": "s.1", "lead": "pair", "sense": "at terminals"}},
        "limits": {"main": {"current_limit": "3 A", "at_limit": "regulate", "ovp": "36 V"}},
        "steps": [
            {"power_up": up, "name": "up"},
            {"power_down": {"order": ["main"]}, "name": "down"},
        ],
        "record": {"every": "100 ms"},
    }
    given = fed_by(*load, nominal="20 V", current={"steady": "1 mA .. 3 A", "at_most": "10 A"})
    outputs = {"s": supply({"bleeder": f"{bleeder} ohm", "sink": None})}
    return write(folder, {"main": given}, procedure, outputs)


def capacitor(farads: float, ohms: float = 1e-3) -> dict[str, Any]:
    return {"capacitor": {"capacitance": f"{farads} F", "esr": f"{ohms} ohm"}}


def converter(watts: float, starts: float, stops: float) -> dict[str, Any]:
    figures = {"output_power": f"{watts} W", "efficiency": "100 %", "soft_start": "1 ms"}
    ends = {"starts_at": f"{starts - 0.5} V .. {starts} V", "stops_at": f"{stops - 0.2} V .. {stops} V"}
    return {"converter": {**figures, **ends}}


def running(farads: float, bleeder: float, watts: float, begin: float, stops: float, end: float) -> float:
    """From where it runs, through where it stops."""
    halt = min(max(stops, end), begin)
    held = farads * bleeder
    down = 0.5 * held * math.log((begin**2 + watts * bleeder) / (halt**2 + watts * bleeder))
    return down + held * math.log(halt / end)


def said(findings: list[Finding], rule: str) -> float:
    found = [figure.value for each in findings if each.rule == rule for figure in each.figures]
    names = [figure.name for each in findings if each.rule == rule for figure in each.figures]
    return found[names.index("discharge_time")] if "discharge_time" in names else 0.0


CASES = [
    # farads, bleeder, watts, up to, starts, stops
    (0.02, 2e3, 10.0, 15.0, 16.0, 4.0),  # never started
    (0.02, 2e3, 10.0, 20.0, 16.0, 4.0),  # stopped in a power-up, just below 16 V
    (0.02, 2e3, 10.0, 20.0, 16.0, 0.9),  # it would empty it itself
    (0.02, 500.0, 10.0, 30.0, 3.0, 1.5),  # just below 3 V at most: it takes longer running
    (0.01, 5e3, 0.01, 30.0, 8.0, 4.0),  # it hardly draws
    (0.1, 300.0, 2.0, 12.0, 14.0, 9.0),
]


@pytest.mark.parametrize(("farads", "bleeder", "watts", "up_to", "starts", "stops"), CASES)
def test_what_may_not_run_empties_nothing(
    farads: float, bleeder: float, watts: float, up_to: float, starts: float, stops: float, tmp_path: Path
) -> None:
    parts = capacitor(farads), converter(watts, starts, stops)
    findings = list(
        Job.open(written(tmp_path, *parts, up_to=up_to, bleeder=bleeder)).check(static=True).findings
    )
    whole = farads + OWN
    idle = whole * bleeder * math.log(min(up_to, starts) / BELOW)
    runs = running(whole, bleeder, watts, up_to, stops, BELOW) if up_to >= starts else 0.0
    longest = max(idle, runs)
    assert said(findings, "slow-discharge") == pytest.approx(longest, rel=5e-3)
    assert said(findings, "off-late") == pytest.approx(longest if longest > 10.0 else 0.0, rel=5e-3)
    (note,) = [each for each in findings if each.rule == "slow-discharge"]
    alone = [figure.value for figure in note.figures if figure.name == "alone"]
    bare = whole * bleeder * math.log(up_to / BELOW)
    assert alone == ([pytest.approx(bare, rel=2e-3)] if bare > 1.01 * longest else [])
    assert (
        not {"limit-below-need", "limit-at-low-voltage"} & {each.rule for each in findings} or up_to >= starts
    )


@pytest.mark.parametrize(
    ("first", "second", "up_to"), [(8.0, 16.0, 20.0), (8.0, 16.0, 12.0), (16.0, 18.0, 12.0)]
)
def test_of_several_each_draws_from_where_it_has_started(
    first: float, second: float, up_to: float, tmp_path: Path
) -> None:
    """The slowest start, by node equation: of 1.5 W and 1 W each stops at 4 V; whichever may not have started
    draws nothing, and both need no more on the way up than what runs there draws.
    """
    parts = capacitor(0.02), converter(1.5, first, 4.0), converter(1.0, second, 4.0)
    findings = Job.open(written(tmp_path, *parts, up_to=up_to)).check(static=True).findings

    def emptied(begin: float) -> float:
        def slope(_: float, v: Any) -> Any:
            drawn = sum(w for w, s in ((1.5, first), (1.0, second)) if s <= begin and v[0] > 4.0) / v[0]
            return [-(v[0] / 2e3 + drawn) / (0.02 + OWN)]

        def down(_: float, v: Any) -> float:
            return float(v[0] - BELOW)

        down.terminal = True  # type: ignore[attr-defined]
        return float(solve_ivp(slope, (0.0, 1e4), [begin], events=down, rtol=1e-7, max_step=0.5).t[-1])

    begins = [up_to, *(s - 1e-6 for s in (first, second) if s <= up_to)]
    longest = max(map(emptied, begins))
    assert said(list(findings), "slow-discharge") == pytest.approx(longest, rel=5e-3)


def test_what_a_planned_switching_off_finds_running_is_not_told_to_fall_slowly(tmp_path: Path) -> None:
    """42 s where it has not started; 0.2 s where the procedure switches it off: C (V² - v²) / 2 P."""
    path = two_inputs(tmp_path / "a", up_to=20.0)
    rules = {each.rule: each for each in Job.open(path).check(static=True).findings}
    assert "off-late" in rules
    assert "off-after-waits" not in rules
    rules = {
        each.rule: each
        for each in Job.open(two_inputs(tmp_path / "b", up_to=15.0)).check(static=True).findings
    }
    assert "off-after-waits" in rules


def two_inputs(folder: Path, up_to: float) -> Path:
    """The gate goes off 2 s after the drain, whose converter starts at 16 V."""
    drain = fed_by(capacitor(0.01), converter(10.0, 16.0, 0.9), nominal="20 V")
    gate = fed_by({"resistor": {"resistance": "200 ohm"}}, nominal="5 V")
    limits = {"current_limit": "2 A", "at_limit": "regulate", "ovp": "36 V"}
    procedure = {
        "hook_up": {
            name: {"from": f"s.{number}", "lead": "pair", "sense": "at terminals"}
            for number, name in enumerate(("drain", "gate"), 1)
        },
        "limits": {"drain": limits, "gate": {**limits, "off_after": ["drain"]}},
        "steps": [
            {"power_up": {"order": ["gate", "drain"], "voltages": {"drain": f"{up_to} V"}, "settle": "1 s"},
             "name": "up"},
            {"power_down": {"order": ["drain", "gate"], "gap": "2 s"}, "name": "down"},
        ],
        "record": {"every": "10 ms"},
    }  # fmt: skip
    return write(
        folder, {"drain": drain, "gate": gate}, procedure, {"s": supply({"sink": None}, {"sink": None})}
    )


MOTOR = {"resistance": "1 ohm", "inductance": "1 mH", "torque_constant": "50 mN*m/A"}


@pytest.mark.parametrize(
    ("farads", "inertia", "friction"), [(0.0, 1e-4, 0.5e-3), (1e-3, 1e-4, 0.2e-3), (5e-3, 2e-5, 0.1e-3)]
)
def test_a_rotor_goes_on_feeding_the_input(
    farads: float, inertia: float, friction: float, tmp_path: Path
) -> None:
    """C dv/dt = -v / R - i, L di/dt = v - R_w i - k ω, J dω/dt = k i - T, as long as it turns."""
    load = {"dc_motor": {**MOTOR, "inertia": f"{inertia} kg*m**2", "friction": f"{friction} N*m"}}
    parts = [load, *([capacitor(farads)] if farads else [])]
    path = written(tmp_path / "s", *parts, up_to=20.0)
    whole, k = farads + OWN, 0.05

    def slope(_: float, y: Any) -> Any:
        v, i, w = y
        return [(-v / 2e3 - i) / whole, (v - i - k * w) / 1e-3, (k * i - friction * math.tanh(w)) / inertia]

    def down(_: float, y: Any) -> float:
        return float(y[0] - BELOW)

    down.terminal = True  # type: ignore[attr-defined]
    dry = friction / k
    start = [20.0, dry, (20.0 - dry) / k]
    truth = float(solve_ivp(slope, (0.0, 1e3), start, "LSODA", events=down, rtol=1e-8, atol=1e-10).t[-1])
    assert truth > 1.0
    findings = list(Job.open(path).check(static=True).findings)
    assert truth * 0.99 <= said(findings, "slow-discharge") <= 1.03 * truth
