"""Faults against closed forms, and operating points against textbook examples."""

import math

import numpy as np
import pytest
from tests.physics.bench import FIGURES, STAGE, capacitor, resistor, single
from tests.physics.meeting_points import operating_points
from tests.physics.test_operating_points import converter

from railwright.physics.circuit import Branch, Circuit, LeadCircuit
from railwright.physics.output_stage import blind_weight, derive_output_stage
from railwright.physics.simulation import Simulation
from railwright.rehearsal.fault_entries import SHORT

STRICT, _ = derive_output_stage(FIGURES._replace(limit_overshoot=0.0))
"""An output that never exceeds its current limit."""


def energy_in(samples, conductance):
    """∫ g v² dt of straight lines, by Simpson's rule in each (exact for a square)."""
    v, gap = samples.voltage, np.diff(samples.time)
    middle = 0.5 * (v[:-1] + v[1:])
    return conductance * float(((v[:-1] ** 2 + 4.0 * middle**2 + v[1:] ** 2) / 6.0 * gap).sum())


def shorted(limit, load=(), resistance=0.3, inductance=1e-6, length=20e-3, stage=STAGE):
    """An output of 12 V, settled, then a limit and a short of 10 mΩ; its samples since."""
    branch = Branch("main", ("left.1",), (stage,), LeadCircuit(resistance, inductance), load)
    simulation = Simulation(Circuit((branch,)))
    simulation.set("left.1", voltage=12.0, on=True)
    simulation.advance(0.2)
    simulation.set("left.1", current_limit=limit)
    simulation.change_lead("main", short=SHORT)
    return simulation.advance(0.2 + length).samples["main"]


def test_a_short_draws_the_current_limit_once_that_has_responded():
    """I = limit, v = limit · R_short (closed form)."""
    samples = shorted(1.5)
    assert samples.current[-1] == pytest.approx(1.5, rel=1e-3)
    assert samples.voltage[-1] == pytest.approx(1.5 * SHORT, rel=1e-3)


def test_an_input_capacitor_leaves_its_energy_in_esr_and_short_by_their_resistances():
    """½ C V², shared as R_short / (R_short + ESR) (closed form): the output is switched off before."""
    farads, esr = 1e-3, 0.06
    branch = Branch("main", ("left.1",), (STAGE,), LeadCircuit(0.3, 1e-6), (capacitor(farads, esr),))
    simulation = Simulation(Circuit((branch,)))
    simulation.set("left.1", voltage=12.0, on=True)
    simulation.advance(0.2)
    simulation.change_lead("main", opened=True)
    simulation.change_lead("main", short=SHORT)
    samples = simulation.advance(0.21).samples["main"]
    expected = 0.5 * farads * 12.0**2 * SHORT / (SHORT + esr)
    assert energy_in(samples, 1.0 / SHORT) == pytest.approx(expected, rel=5e-3)


def test_an_output_capacitor_leaves_its_energy_in_lead_and_short_by_their_resistances():
    """½ C V², whatever the limit says (closed form): the limit is as good as 0, and nothing exceeds it."""
    samples = shorted(1e-4, resistance=0.3, length=5e-3, stage=STRICT)
    expected = 0.5 * STRICT.capacitance * 12.0**2 * SHORT / (SHORT + 0.3)
    assert energy_in(samples, 1.0 / SHORT) == pytest.approx(expected, rel=0.02)


def test_the_first_current_into_a_short_is_that_of_a_series_rlc_circuit():
    """i(t) = V / (ω L) exp(-R t / 2 L) sin(ω t) for a charged capacitor (textbook)."""
    resistance, inductance = 0.05, 5e-6
    samples = shorted(0.01, resistance=resistance - SHORT, inductance=inductance, length=1e-3)
    damping = resistance / (2.0 * inductance)
    omega = math.sqrt(1.0 / (inductance * STAGE.capacitance) - damping**2)
    at = math.atan2(omega, damping) / omega
    peak = 12.0 / (omega * inductance) * math.exp(-damping * at) * math.sin(omega * at)
    assert samples.current.max() == pytest.approx(peak, rel=0.02)


def test_an_ovp_trips_its_response_time_after_the_level_is_passed():
    """An output that sees nothing runs away at I / C, so that it passes the level by I / C · response."""
    level, limit = 18.0, 0.05
    simulation = Simulation(Circuit((single(resistor(1e6)),)))
    simulation.set("left.1", current_limit=limit, voltage=12.0, ovp=level, on=True)
    simulation.advance(0.2)
    simulation.set("left.1", sense=(blind_weight(12.0, STAGE.voltage_max), 0.0))
    advance = simulation.advance(0.4)
    samples = advance.samples["main"]
    passed = float(np.interp(level, samples.terminal_voltage[: samples.terminal_voltage.argmax()],
                             samples.time[: samples.terminal_voltage.argmax()]))  # fmt: skip
    (trip,) = [event for event in advance.events if event.what == "trips OVP"]
    assert trip.time - passed == pytest.approx(STAGE.ovp_response, rel=0.02)
    slope = limit / STAGE.capacitance
    assert samples.terminal_voltage.max() - level == pytest.approx(slope * STAGE.ovp_response, rel=0.1)


def test_constant_power_behind_a_resistance_carries_at_most_a_quarter():
    """P_max = V² / (4 R), matched at V / 2 (maximum power transfer, textbook)."""
    resistance = 3.0
    most = 12.0**2 / (4.0 * resistance)
    for part, count in ((0.99, 2), (1.01, 0)):
        load = converter(power=0.86 * part * most, starts=4.0, stops=1.0)
        points = operating_points(single(load, resistance=resistance), 12.0, 2.5 * 10.0)
        running = [point for point in points if point.running and point.voltage > 1.5]
        assert len(running) == count
