"""An hour with microsecond edges: steps where something happens, and none where nothing does."""

from __future__ import annotations

import numpy as np
import pytest

from railwright.physics.circuit import Branch, Circuit, LeadCircuit, Load
from railwright.physics.output_stage import OutputFigures, derive_output_stage
from railwright.physics.simulation import Simulation

STAGE, _ = derive_output_stage(
    OutputFigures(40.0, 10.0, rise=20e-6, recovery_time=30e-6, output_capacitance=20e-6, sink_current=20.0)
)
LOADS = (
    Load("capacitor", {"capacitance": 10e-6, "esr": 0.05}),
    Load("constant_current", {"current": 0.5, "compliance": 3.0}),
)
EDGE = 5e-6


def played(hours: float, dips: int) -> tuple[Simulation, np.ndarray, np.ndarray]:
    """A supply that dips for 100 µs, with edges of 5 µs, spread over so many hours."""
    sim = Simulation(Circuit((Branch("main", ("out",), (STAGE,), LeadCircuit(0.05, 0.5e-6), LOADS),)))
    sim.set("out", voltage=12.0, current_limit=8.0, on=True)
    end = 3600.0 * hours
    for k in range(dips):
        begin = end * (k + 0.5) / dips
        sim.set("out", at=begin, line=(6.0, EDGE))
        sim.set("out", at=begin + 100e-6, line=(12.0, EDGE))
    samples = sim.advance(end).samples["main"]
    return sim, samples.time, samples.voltage


def test_an_hour_costs_what_happens_in_it():
    sim, time, voltage = played(1.0, 10)
    assert sim.steps < 4000
    for k in range(10):  # each dip reaches its level, and ends
        begin = 3600.0 * (k + 0.5) / 10
        inside = (time > begin) & (time < begin + 100e-6)
        assert 4.0 < voltage[inside].min() < 6.1
        assert np.interp(begin + 1.0, time, voltage) == pytest.approx(12.0 - 0.5 * 0.05, abs=2e-3)


def test_time_in_which_nothing_happens_costs_nothing():
    short, _, _ = played(1.0, 4)
    long, _, _ = played(24.0, 4)
    assert long.steps < short.steps * 1.2
