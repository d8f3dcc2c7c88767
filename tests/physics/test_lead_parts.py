"""What lies in a lead: a fuse, a diode, a switch, a short across the connector, swapped conductors."""

from __future__ import annotations

import numpy as np
import pytest

from railwright.physics.circuit import Branch, Circuit, LeadCircuit, Load
from railwright.physics.output_stage import OutputFigures, derive_output_stage
from railwright.physics.simulation import Simulation

STAGE, _ = derive_output_stage(
    OutputFigures(40.0, 10.0, rise=5e-3, output_capacitance=200e-6, sink_current=2.0)
)
TEN_OHM = (Load("resistor", {"resistance": 10.0}),)


def simulation(lead: LeadCircuit, loads: tuple[Load, ...] = TEN_OHM, **more: object) -> Simulation:
    branch = Branch("main", ("out",), (STAGE,), lead, loads, **more)  # type: ignore[arg-type]
    sim = Simulation(Circuit((branch,)))
    sim.set("out", voltage=20.0, current_limit=8.0, ovp=30.0, on=True)
    return sim


def times(events: tuple, what: str) -> list[float]:
    return [event.time for event in events if event.what == what]


def test_a_fuse_opens_at_the_time_of_its_curve():
    """At a constant current the melting integral is t / t(i): it opens exactly where the curve says."""
    sim = simulation(LeadCircuit(0.05, 1e-6, fuse=((1.2, 100.0), (2.0, 1.0), (20.0, 0.01))))
    result = sim.advance(3.0)
    (blown,) = times(result.events, "fuse opens")
    current = 20.0 / 10.05
    expected = np.exp(
        np.log(100.0) + np.log(1.0 / 100.0) * np.log(current / 1.2) / np.log(2.0 / 1.2)
    )  # straight line in logarithms between the curve's first two points
    assert blown == pytest.approx(expected, rel=0.01)  # the rise takes 5 ms of it
    samples = result.samples["main"]
    assert abs(samples.current[-1]) < 1e-6
    assert samples.voltage[-1] == pytest.approx(0.0, abs=1e-3)


def test_a_fuse_below_its_least_current_never_opens():
    sim = simulation(LeadCircuit(0.05, 1e-6, fuse=((2.2, 100.0), (20.0, 0.01))))
    result = sim.advance(500.0)
    assert times(result.events, "fuse opens") == []
    assert sim.steps < 2000


def test_a_diode_blocks_a_dip_and_the_capacitor_holds():
    """A dip behind a series diode: the device's capacitor keeps its charge, C dv/dt = -v / R."""
    loads = (Load("resistor", {"resistance": 100.0}), Load("capacitor", {"capacitance": 1e-3, "esr": 0.01}))
    sim = simulation(LeadCircuit(0.1, 1e-6, diode=0.6), loads)
    sim.set("out", at=0.5, voltage=5.0)
    result = sim.advance(0.53)
    samples = result.samples["main"]
    before = np.interp(0.499, samples.time, samples.voltage)
    assert before == pytest.approx((20.0 - 0.6) * 100.0 / 100.1, rel=1e-4)
    blocks = [time for time in times(result.events, "diode blocks") if time > 0.5]
    assert blocks
    after = np.interp(0.53, samples.time, samples.voltage)
    at_block = np.interp(blocks[0], samples.time, samples.voltage)
    assert after == pytest.approx(at_block * np.exp(-(0.53 - blocks[0]) / 0.1), rel=2e-3)
    assert samples.current.min() > -1e-3


def test_a_switch_interrupts_the_lead_and_closes_it_again():
    sim = simulation(LeadCircuit(0.1, 1e-6, opened=True))
    sim.change_lead("main", at=0.1, opened=False)
    sim.change_lead("main", at=0.2, opened=True)
    result = sim.advance(0.3)
    samples = result.samples["main"]
    assert times(result.events, "lead closes") == [0.1]
    assert times(result.events, "lead opens") == [0.2]
    assert np.interp(0.09, samples.time, samples.voltage) == pytest.approx(0.0, abs=1e-6)
    assert np.interp(0.19, samples.time, samples.voltage) == pytest.approx(20.0 * 10.0 / 10.1, rel=1e-4)
    assert np.interp(0.29, samples.time, samples.current) == pytest.approx(0.0, abs=1e-6)


def test_a_short_at_the_connector_draws_the_limit():
    sim = simulation(LeadCircuit(0.05, 1e-6))
    sim.change_lead("main", at=0.1, short=0.005)
    result = sim.advance(0.3)
    samples = result.samples["main"]
    assert samples.current[-1] == pytest.approx(8.0, rel=1e-3)
    assert samples.current.max() > 100.0  # the output capacitor's charge, whatever the limit says
    assert samples.voltage[-1] == pytest.approx(8.0 * 0.005, rel=2e-3)


def test_a_reversed_lead_turns_the_load_round():
    loads = (Load("constant_current", {"current": 1.0, "compliance": 1.0}),)
    sim = simulation(LeadCircuit(0.05, 1e-6), loads, reversed_lead=True)
    samples = sim.advance(0.1).samples["main"]
    assert abs(samples.current[-1]) < 1e-3  # a constant current draws nothing when reversed
    sim = simulation(LeadCircuit(0.05, 1e-6), TEN_OHM, reversed_lead=True)
    samples = sim.advance(0.1).samples["main"]
    assert samples.current[-1] == pytest.approx(20.0 / 10.05, rel=1e-4)


@pytest.mark.parametrize("curve", [((1.0, 1.0),), ((1.0, 1.0), (2.0, 2.0)), ((2.0, 1.0), (1.0, 0.5))])
def test_a_fuse_curve_must_fall(curve):
    with pytest.raises(ValueError, match="fuse's curve"):
        LeadCircuit(0.1, 1e-6, fuse=curve)
