"""An output goes no higher than 1.05 times its rated voltage, whatever its sense leads tell it.

Truth in closed form: with its lead interrupted an output that senses at the load charges its own capacitor at
its current limit, V(t) = R I + (V₀ - R I) exp(-t / R C), until it stands at the ceiling, and stays there.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from tests.physics.bench import FIGURES, capacitor, resistor

from railwright.physics.circuit import Branch, Circuit, LeadCircuit
from railwright.physics.output_stage import derive_output_stage
from railwright.physics.simulation import Simulation

STRICT = FIGURES._replace(limit_overshoot=0.0)
"""A limit that lets nothing more through before it has responded."""
STAGE = derive_output_stage(STRICT)[0]
SLOW = derive_output_stage(
    STRICT._replace(
        voltage_max=30.0, current_max=3.0, power=None, output_capacitance=1e-3, recovery_band=25e-3
    )
)[0]
SMALL = derive_output_stage(
    STRICT._replace(voltage_max=8.0, current_max=1.0, power=8.0, output_capacitance=100e-6, sink_current=1.0)
)[0]
LOADS = (resistor(20.0), capacitor(100e-6))


def opened(stages, volts, amperes, arrangement="single", until=0.3, ovp=math.inf):
    """Samples from where the lead comes off at 0.2 s, sensed at the load, and the events."""
    names = tuple(f"left.{n}" for n in range(1, len(stages) + 1))
    branch = Branch(
        "main", names, stages, LeadCircuit(0.05, 1e-6), LOADS, arrangement=arrangement, sense="load"
    )
    simulation = Simulation(Circuit((branch,)))
    whole = sum(stage.voltage_max for stage in stages) if arrangement == "series" else 0.0
    for name, stage in zip(names, stages, strict=True):
        share = stage.voltage_max / whole if whole else 1.0
        simulation.set(name, voltage=volts * share, current_limit=amperes, ovp=ovp, on=True)
    simulation.change_lead("main", at=0.2, opened=True)
    found = simulation.advance(0.2 + until)
    samples = found.samples["main"]
    return samples.time - 0.2, samples, found.events


@pytest.mark.parametrize(
    ("stage", "volts", "amperes"),
    [(STAGE, 12.0, 1.0), (SLOW, 12.0, 2.9), (SLOW, 28.0, 2.0), (SMALL, 5.0, 0.5), (STAGE, 34.0, 2.0)],
)
def test_a_lead_that_comes_off_lets_an_output_rise_to_its_ceiling_and_no_further(stage, volts, amperes):
    time, samples, _ = opened((stage,), volts, amperes)
    ceiling = 1.05 * stage.voltage_max
    own = samples.terminal_voltage
    assert own.max() < 1.01 * ceiling  # the loop overshoots as at any step
    assert own[-1] == pytest.approx(ceiling, rel=1e-3)
    # Halfway up it charges at the limit, beside its bleeder (ohms · amperes is where that would end).
    middle, farads, ohms = (volts + ceiling) / 2.0, stage.capacitance, stage.bleeder
    started = float(np.interp(1.02 * volts, own[time > 0.0], time[time > 0.0]))
    passed = float(np.interp(middle, own[time > 0.0], time[time > 0.0]))
    end = ohms * amperes
    exact = ohms * farads * math.log((end - 1.02 * volts) / (end - middle))
    assert passed - started == pytest.approx(exact, rel=0.1, abs=5e-5)


@pytest.mark.parametrize(("arrangement", "ceiling"), [("series", 1.05 * 66.0), ("parallel", 1.05 * 30.0)])
def test_outputs_of_a_group_each_have_their_own(arrangement, ceiling):
    """In series the ceilings add; in parallel the lowest cannot hold the others: the highest counts."""
    _, samples, _ = opened((STAGE, SLOW), 20.0, 1.0, arrangement)
    if arrangement == "parallel":
        ceiling = 1.05 * max(STAGE.voltage_max, SLOW.voltage_max)
    assert samples.terminal_voltage.max() < 1.005 * ceiling
    assert samples.terminal_voltage[-1] == pytest.approx(ceiling, rel=1e-3)


@pytest.mark.parametrize(("level", "trips"), [(30.0, True), (31.0, True), (32.0, False), (40.0, False)])
def test_an_ovp_above_the_ceiling_never_acts(level, trips):
    _, samples, events = opened((SLOW,), 12.0, 2.9, ovp=level)
    assert any(event.what == "trips OVP" for event in events) == trips
    assert samples.terminal_voltage.max() < 1.005 * 31.5


def test_it_costs_few_steps_to_stay_there():
    names = ("left.1",)
    branch = Branch("main", names, (SLOW,), LeadCircuit(0.05, 1e-6), LOADS, sense="load")
    simulation = Simulation(Circuit((branch,)))
    simulation.set("left.1", voltage=12.0, current_limit=2.0, on=True)
    simulation.change_lead("main", at=0.2, opened=True)
    simulation.advance(1.0)
    before = simulation.steps
    simulation.advance(100.0)
    assert simulation.steps - before < 500


def test_at_full_scale_and_below_nothing_changes():
    """36 V with 0.5 V of drop in the lead: the terminals stand at V + R I, below the ceiling."""
    branch = Branch("main", ("left.1",), (STAGE,), LeadCircuit(0.5, 1e-6), (resistor(36.0),), sense="load")
    simulation = Simulation(Circuit((branch,)))
    simulation.set("left.1", voltage=36.0, current_limit=2.5, on=True)
    samples = simulation.advance(1.0).samples["main"]
    assert samples.voltage[-1] == pytest.approx(36.0, rel=1e-6)
    assert samples.terminal_voltage[-1] == pytest.approx(36.5, rel=1e-6)
