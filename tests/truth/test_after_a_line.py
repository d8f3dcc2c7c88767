"""Once a ramp is over, nothing flows into a capacitor any more.

The truth is Ohm's law: V / R from a millisecond after the end of the ramp on, C dV/dt + V / R before it
(common practice, no source). The rehearsal's rows were right, and the straight line between two of them was
not: the current of the capacitor seemed to die away over the next 80 ms.
"""

from __future__ import annotations

import numpy as np
import pytest

from railwright.physics.circuit import Branch, Circuit, LeadCircuit, Load
from railwright.physics.output_stage import OutputFigures, derive_output_stage
from railwright.physics.simulation import Simulation


@pytest.mark.parametrize("farads", [10e-6, 63.4e-6, 470e-6])
@pytest.mark.parametrize(("volts", "over"), [(24.0, 0.22), (24.0, 0.02), (5.0, 1.0), (12.0, 0.1)])
@pytest.mark.parametrize("ohms", [30.0, 122.0])
def test_what_flows_after_a_ramp_is_the_resistor_s(
    farads: float, volts: float, over: float, ohms: float
) -> None:
    stage, _ = derive_output_stage(OutputFigures(40.0, 3.0))
    loads = (Load("resistor", {"resistance": ohms}), Load("capacitor", {"capacitance": farads, "esr": 0.05}))
    sim = Simulation(Circuit((Branch("in", ("out",), (stage,), LeadCircuit(0.05, 1e-6), loads),)))
    sim.set("out", on=True, voltage=0.0, rise=1e6, fall=1e6)
    sim.set("out", at=0.1, line=(volts, over))
    samples = sim.advance(0.1 + over + 0.5).samples["in"]
    steady = volts / (ohms + 0.05)
    at = 0.1 + over + np.array([1e-3, 2e-3, 5e-3, 20e-3, 50e-3, 80e-3, 0.3])
    assert np.interp(at, samples.time, samples.current) == pytest.approx(steady, abs=2e-4 * 3.0)
    before = 0.1 + over - min(2e-3, 0.1 * over)
    ramping = farads * volts / over + np.interp(before, samples.time, samples.voltage) / ohms
    assert np.interp(before, samples.time, samples.current) == pytest.approx(ramping, abs=1e-3 * 3.0)
