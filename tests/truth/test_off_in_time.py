"""How long an input takes to empty, and what a run says that does not wait as long.

The truth is that of an R-C circuit: behind its series resistance R the capacitor empties by
e^(-t / (R + R_L) C), and the connector shows R_L / (R + R_L) of it; R_L: the load beside the bleeder.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
from tests.truth.small import fed_by, supply, write

from railwright.documents.loader import load_documents
from railwright.guard.local_link import LocalLink
from railwright.job import Job
from railwright.running.runner import run
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop

VOLTS, OWN, WAITS = 24.0, 150e-6, 10.0
BELOW = 0.05 * VOLTS
"""What counts as off of 24 V [V]: 5 % of it."""

CASES = [
    (0.47, 0.05, 100.0, 2e3), (5.0, 0.2, 10.0, 2e3), (0.1, 47.0, 100.0, 2e3), (22e-3, 0.05, 1e4, 500.0),
    (22e-3, 200.0, 100.0, 2e3), (0.1, 0.5, 20.0, 2e3), (0.01, 10.0, 300.0, 2e3), (1.0, 3.0, 1.0, 2e3),
    (0.047, 30.0, 30.0, 2e3),
]  # fmt: skip
"""Capacitance [F], its series resistance, the load's and the bleeder's [Ω]."""


def true(farads: float, ohms: float, resistor: float, bleeder: float) -> tuple[float, float]:
    """When the connector shows less than 5 % of 24 V, and when the capacitor holds less than 1 V [s]."""
    beside = resistor * bleeder / (resistor + bleeder)
    constant = (beside + ohms) * farads
    return constant * math.log(VOLTS * beside / (beside + ohms) / BELOW), constant * math.log(VOLTS)


def written(
    folder: Path, farads: float, ohms: float, resistor: float, bleeder: float, settle: str, ramp: str = "",
    sink: str = "", down: bool = True,
) -> Path:  # fmt: skip
    procedure: dict[str, Any] = {
        "hook_up": {"main": {"from": "s.1", "lead": "pair", "sense": "at terminals"}},
        "limits": {"main": {"current_limit": "3 A", "at_limit": "regulate", "ovp": "32 V"}},
        "steps": [
            {"power_up": {"order": ["main"], "rise": "0.05 V/ms", "settle": settle}, "name": "up"},
            {"power_down": {"order": ["main"]}, "name": "down"},
        ],
        "record": {"every": "100 ms"},
    }
    if ramp:
        procedure["limits"]["main"]["at_end"] = {"ramp_down": ramp}
    if not down:
        del procedure["steps"][-1]
    own = fed_by(
        {"capacitor": {"capacitance": f"{farads} F", "esr": f"{ohms} ohm"}},
        {"resistor": {"resistance": f"{resistor} ohm"}},
        current={"steady": "1 mA .. 3 A", "at_most": "10 A"},
    )
    return write(
        folder,
        {"main": own},
        procedure,
        {"s": supply({"bleeder": f"{bleeder} ohm", **({"sink": sink} if sink else {})})},
    )


@pytest.mark.parametrize(("farads", "ohms", "resistor", "bleeder"), CASES)
def test_what_does_not_empty_in_time_is_said_before(
    farads: float, ohms: float, resistor: float, bleeder: float, tmp_path: Path
) -> None:
    shown, emptied = true(farads, ohms, resistor, bleeder)
    path = written(tmp_path / "job", farads, ohms, resistor, bleeder, "1 s")
    found = {each.rule: each for each in Job.open(path).check().findings}
    assert ("off-late" in found) == (shown > WAITS)
    for rule, time in (("off-late", shown), ("slow-discharge", emptied)):
        if rule in found:
            (said,) = [each.value for each in found[rule].figures if each.name == "discharge_time"]
            # The output's own 150 µF count as if they lay behind the resistance as well.
            assert time * 0.999 <= said <= 1.001 * time * (farads + OWN) / farads
    assert ("slow-discharge" in found) == (emptied > 1.0)


@pytest.mark.parametrize(
    ("farads", "ohms", "resistor", "bleeder"), [CASES[0], CASES[2], CASES[5], CASES[6], CASES[8]]
)
def test_a_run_ends_as_the_check_said(
    farads: float, ohms: float, resistor: float, bleeder: float, tmp_path: Path
) -> None:
    """On simulated supplies, whose capacitor is charged through and through before it goes off."""
    shown, _ = true(farads, ohms, resistor, bleeder)
    settle = f"{math.ceil(6.0 * (ohms + 8.0) * farads)} s"
    path = written(tmp_path / "job", farads, ohms, resistor, bleeder, settle)
    assert confirmed(path, tmp_path / "run") == (shown <= WAITS)


def confirmed(path: Path, folder: Path) -> bool:
    """Whether a run on simulated supplies confirms that it is off."""
    documents, loop = load_documents(path), VirtualLoop()
    points = Job.open(path).check().settings.set_points
    with VirtualNetwork(loop, documents.bench, documents.device, documents.procedure) as network:
        link = LocalLink(loop, network.connect)
        outcome = run(
            documents,
            points,
            folder=folder,
            link=link,
            unit="U-7",
            operator="An operator",
            timeout=5.0,
        )
    return outcome.off_confirmed


@pytest.mark.parametrize(
    ("farads", "ramp", "sink", "down", "empties"),
    [
        (0.1, "10 s", "2 A", False, True),  # C V / I: 1.1 s
        (0.1, "10 s", "2 A", True, False),  # a power_down switches off at once
        (0.1, "10 s", "0 A", False, False),  # nothing takes it in: 135 s
        (0.1, "500 ms", "2 A", False, False),
        (0.47, "6 s", "2 A", False, True),  # 5.4 s
        (0.47, "5 s", "2 A", False, False),
        (0.1, "", "2 A", False, False),
    ],
)
def test_what_a_ramp_at_the_end_empties_is_late_only_where_there_is_none(
    farads: float, ramp: str, sink: str, down: bool, empties: bool, tmp_path: Path
) -> None:
    """C (V - 1.2 V) / I into the output, beside a bleeder and a load that take a hundredth of that."""
    path = written(tmp_path / "job", farads, 0.01, 2e3, 1e3, "1 s", ramp, sink, down)
    found = {each.rule: each for each in Job.open(path).check().findings}
    figures = [each.name for each in found["off-late"].figures]
    assert ("ramp_down" in figures) == empties


@pytest.mark.parametrize("down", [False, True])
def test_a_run_that_ends_on_empties_by_its_ramp(down: bool, tmp_path: Path) -> None:
    path = written(tmp_path / "job", 0.1, 0.01, 2e3, 1e3, "1 s", "10 s", "2 A", down)
    assert confirmed(path, tmp_path / "run") == (not down)
