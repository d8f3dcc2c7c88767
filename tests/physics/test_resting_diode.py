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


DRAWN = [  # volts, amperes, rise, recovery, limit's response, capacitance, bleeder, sink, ohms, seconds, lamp
    (86.33, 0.31525, 0.05, 200e-6, 5e-3, 100e-6, 524.0, 0.2, 821.5, 10e-3, True),
    (72.707, 0.55433, 0.01, 50e-6, 1e-3, 10e-6, 20.397e3, 0.5, 131.17, 10e-3, False),
    (35.641, 3.58366, 0.01, 200e-6, 5e-3, 10e-6, 27.09e3, 0.5, 29.836, 10e-3, True),
    (79.768, 1.19821, 0.05, 50e-6, 20e-3, 10e-6, 17.065e3, 0.05, 199.72, 10e-3, False),
    (49.01, 0.140504, 0.01, 20e-6, 1e-3, 100e-6, 938.65, 0.5, 1046.4, 10e-3, False),
    (51.445, 0.141237, 0.01, 200e-6, 1e-3, 10e-6, 5637.6, 0.2, 3642.4, 10e-3, False),
]


@pytest.mark.parametrize("drawn", DRAWN, ids=range(len(DRAWN)))
def test_an_output_that_sinks_into_its_own_clamp_rests_there(drawn):
    """It is set to 0 V and senses the load, whose capacitor lies behind a diode: it takes in all that it can
    until that is empty, and then asks for just as much as that. Its own reverse diode carries the current: by
    Kirchhoff it stands a diode's drop and that current in its resistance below 0 V, less what it leaks.
    """
    volts, amperes, rise, recovery, response, farads, leaks, sink, ohms, seconds, lamp = drawn
    figures = OutputFigures(
        voltage_max=volts, current_max=amperes, rise=rise, recovery_time=recovery, limit_response=response,
        output_capacitance=farads, bleeder=leaks, sink_current=sink * amperes, limit_overshoot=0.0,
        power=None,
    )  # fmt: skip
    stage, _ = derive_output_stage(figures)
    load, cold = Load("resistor", {"resistance": ohms}), ohms
    if lamp:
        cold = ohms / 12.0
        values = {
            "rated_voltage": volts, "rated_power": 0.0, "rated_current": volts / ohms,
            "cold_resistance": cold, "warm_up": 0.03,
        }  # fmt: skip
        load = Load("filament_lamp", values)
    parts = (Load("capacitor", {"capacitance": seconds / cold, "esr": 0.01}), load)
    lead = LeadCircuit(1.0, 7e-6, diode=0.53)
    branch = Branch("main", ("out0",), (stage,), lead, parts, "single", "load")
    simulation = Simulation(Circuit((branch,)), relative=1e-7, fine=2e-6, everything=True)
    simulation.set("out0", on=True, current_limit=0.3 * amperes, ovp=1.2 * volts)
    for time, level in ((0.0, 0.0), (0.02, 0.2 * volts), (0.04, 0.0)):
        simulation.set("out0", at=time, line=(level, 0.0))
    samples = simulation.advance(0.4).samples["main"]
    assert samples.time.size < 12_000
    own = samples.states[-1, 3]
    carried = sink * amperes + own / leaks
    assert own == pytest.approx(-stage.diode_drop - stage.diode_resistance * carried, rel=1e-4)
