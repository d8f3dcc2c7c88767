"""A load that draws just what a limit lets through: the loops do not take turns in every step.

A check tries such limits by itself: it begins with the least that carries the load. The truth is in closed
form: a resistor's current is V / R, and what a limit or a power lets through is no more than that.
"""

from __future__ import annotations

import pytest
from tests.physics.bench import capacitor, constant_current, resistor, single

from railwright.physics.circuit import Circuit, Load
from railwright.physics.output_stage import OutputFigures, derive_output_stage
from railwright.physics.simulation import Simulation
from railwright.traces import Mode

LEAD = 0.043
STAGE = derive_output_stage(OutputFigures(36.0, 2.5, 60.0))[0]
"""Of a data sheet that gives nothing but the ratings."""


def played(loads: tuple[Load, ...], sense: str, lasts: float, **settings: float) -> Simulation:
    sim = Simulation(Circuit((single(*loads, stage=STAGE, resistance=LEAD, sense=sense),)))
    sim.set("left.1", **{"voltage": 12.0, "ovp": 40.0, **settings, "on": True})
    sim.advance(lasts)
    return sim


@pytest.mark.parametrize("lasts", [4.0, 20.0])
@pytest.mark.parametrize("sense", ["load", "terminals"])
@pytest.mark.parametrize("ohms", [40.0, 24.0, 7.3])
@pytest.mark.parametrize("beside", [0.0, 1e-3])
def test_a_limit_that_is_just_what_a_resistor_draws(
    ohms: float, sense: str, lasts: float, beside: float
) -> None:
    draws = 12.0 / (ohms if sense == "load" else ohms + LEAD)
    loads = (resistor(ohms), *((capacitor(beside),) if beside else ()))
    sim = played(loads, sense, lasts, current_limit=draws)
    rows = sim.advance(lasts + 0.1).samples["main"]
    assert rows.current[-1] == pytest.approx(draws, rel=1e-6)
    assert rows.voltage[-1] == pytest.approx(draws * ohms, rel=1e-6)
    assert sim.steps < 3000  # several hundred thousand, and given up, where the loops take turns
    assert rows.mode[-1] in (Mode.CV, Mode.CC)


@pytest.mark.parametrize("ohms", [40.0, 17.0, 6.0])
@pytest.mark.parametrize("off", [-1e-3, -1e-5, 1e-5, 3e-4, 1e-3, 3e-3])
def test_one_that_is_a_little_off_is_in_charge_or_not(off: float, ohms: float) -> None:
    """Below it the limit is in charge and the voltage is I R, above it the voltage is."""
    limit = 12.0 / ohms * (1.0 + off)
    sim = played((resistor(ohms),), "load", 4.0, current_limit=limit)
    rows = sim.advance(4.1).samples["main"]
    assert rows.mode[-1] == (Mode.CC if off < 0.0 else Mode.CV)
    assert rows.voltage[-1] == pytest.approx(min(12.0, limit * ohms), rel=1e-7)
    assert sim.steps < 3000


@pytest.mark.parametrize("sense", ["load", "terminals"])
@pytest.mark.parametrize("amperes", [0.5, 1.25])
def test_a_constant_current_that_is_just_the_limit(amperes: float, sense: str) -> None:
    sim = played((constant_current(amperes), capacitor(470e-6)), sense, 4.0, current_limit=amperes)
    rows = sim.advance(4.1).samples["main"]
    assert rows.current[-1] == pytest.approx(amperes, rel=1e-4)
    assert sim.steps < 3000


@pytest.mark.parametrize("volts", [30.0, 20.0])
def test_a_power_that_is_just_what_a_resistor_takes(volts: float) -> None:
    """At the terminals, with the bleeder: P = V² / (R + R_lead) + V² / R_bleeder."""
    ohms = 1.0 / (STAGE.power / volts**2 - 1.0 / STAGE.bleeder) - LEAD
    sim = played((resistor(ohms),), "terminals", 4.0, voltage=volts, current_limit=3.5)
    rows = sim.advance(4.1).samples["main"]
    leaks = volts / STAGE.bleeder  # the cap holds what flows before the bleeder
    assert rows.current[-1] + leaks == pytest.approx(STAGE.power / rows.terminal_voltage[-1], rel=1e-3)
    assert sim.steps < 3000
