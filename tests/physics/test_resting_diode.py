"""A series diode at rest: the current is zero, the voltage across it just its drop, for as long as it lasts.

Rounding must not let it block and conduct in turn: that is no event, and it cost the rehearsal every step
that it had. Voltages by Kirchhoff: the output stands at the sensed voltage and the drop above it.
"""

from __future__ import annotations

import pytest

from railwright.physics.circuit import Branch, Circuit, LeadCircuit, Load
from railwright.physics.output_stage import OutputFigures, derive_output_stage
from railwright.physics.simulation import Simulation


def resting(volts: float, drop: float, arrangement: str, sense: str) -> Simulation:
    stage, _ = derive_output_stage(
        OutputFigures(
            voltage_max=82.0, current_max=3.0, rise=0.045, recovery_time=200e-6, limit_response=3e-3,
            output_capacitance=0.7e-3, bleeder=22e3, sink_current=0.0, damping=0.7, limit_overshoot=0.0,
            power=None,
        )
    )  # fmt: skip
    outputs = ("out0",) if arrangement == "single" else ("out0", "out1")
    lead = LeadCircuit(0.05, 6e-6, diode=drop)
    load = Load("capacitor", {"capacitance": 2.5e-3, "esr": 0.47})
    branch = Branch("main", outputs, (stage,) * len(outputs), lead, (load,), arrangement, sense)
    simulation = Simulation(Circuit((branch,)), relative=1e-7, fine=2e-6)
    share = volts / len(outputs) if arrangement == "series" else volts
    for name in outputs:
        simulation.set(name, on=True, current_limit=3.0, ovp=82.0)
        simulation.set(name, at=0.0, line=(share, 0.0))
    return simulation


@pytest.mark.parametrize("sense", ["terminals", "load"])
@pytest.mark.parametrize("arrangement", ["single", "series", "parallel"])
@pytest.mark.parametrize("volts", [7.23184, 60.0])
@pytest.mark.parametrize("drop", [0.36, 0.7])
def test_a_series_diode_at_rest_stays_at_rest(volts, drop, arrangement, sense):
    simulation = resting(volts, drop, arrangement, sense)
    played = simulation.advance(0.5)
    samples = played.samples["main"]
    at_end = volts if sense == "load" else volts - drop
    assert samples.voltage[-1] == pytest.approx(at_end, abs=2e-3 * volts)
    late = [event for event in played.events if event.time > 0.3]
    assert len(late) <= 2, late[:6]
    assert samples.time.size < 20_000
