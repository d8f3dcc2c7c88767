"""The model is driven through the data sheet's own tests and gives the figures back."""

import math

import numpy as np
import pytest
from tests.physics.bench import FIGURES, STAGE, constant_current, resistor, single

from railwright.physics.circuit import Circuit
from railwright.physics.output_stage import OutputFigures, derive_output_stage
from railwright.physics.simulation import Simulation


def crossing(time, values, level):
    """When a rising signal first reaches a level."""
    top = int(np.argmax(values >= level))
    return float(np.interp(level, values[top - 1 : top + 1], time[top - 1 : top + 1]))


def test_load_step_recovers_into_its_band_in_the_stated_time():
    sim = Simulation(Circuit((single(constant_current(0.25 * 2.5), resistance=0.2),)))
    sim.set("left.1", voltage=20.0, on=True)
    sim.advance(0.1)
    sim.change_load("main", 0, current=0.75 * 2.5)
    samples = sim.advance(0.102).samples["main"]
    deviation = np.abs(samples.terminal_voltage - 20.0)
    outside = samples.time[deviation > FIGURES.recovery_band]
    assert 60e-6 < outside[-1] - 0.1 <= 80e-6
    assert deviation.max() > 2 * FIGURES.recovery_band
    assert deviation[-1] < 1e-3


@pytest.mark.parametrize("damping", [0.7, 1.0, 1.4])
def test_recovery_holds_for_every_damping(damping):
    stage, _ = derive_output_stage(FIGURES._replace(damping=damping))
    sim = Simulation(Circuit((single(constant_current(0.625), stage=stage, resistance=0.2),)))
    sim.set("left.1", voltage=20.0, on=True)
    sim.advance(0.1)
    sim.change_load("main", 0, current=1.875)
    samples = sim.advance(0.102).samples["main"]
    outside = samples.time[np.abs(samples.terminal_voltage - 20.0) > FIGURES.recovery_band]
    assert outside[-1] - 0.1 == pytest.approx(80e-6, rel=0.1)


def test_rise_and_loaded_fall_at_full_scale_and_full_power():
    sim = Simulation(Circuit((single(resistor(36.0**2 / 60.0), resistance=1e-3),)))
    sim.set("left.1", voltage=36.0, on=True)
    up = sim.advance(0.2).samples["main"]
    rise = crossing(up.time, up.terminal_voltage, 32.4) - crossing(up.time, up.terminal_voltage, 3.6)
    assert rise == pytest.approx(FIGURES.rise, rel=0.03)
    sim.set("left.1", voltage=0.0)
    down = sim.advance(0.6).samples["main"]
    fall = crossing(down.time, -down.terminal_voltage, -3.6) - crossing(
        down.time, -down.terminal_voltage, -32.4
    )
    assert fall == pytest.approx(FIGURES.fall_loaded, rel=0.03)


def test_fall_without_load():
    sim = Simulation(Circuit((single(),)))
    sim.set("left.1", voltage=36.0, on=True)
    sim.advance(0.2)
    sim.set("left.1", voltage=0.0)
    down = sim.advance(2.0).samples["main"]
    fall = crossing(down.time, -down.terminal_voltage, -3.6) - crossing(
        down.time, -down.terminal_voltage, -32.4
    )
    assert fall == pytest.approx(FIGURES.fall_unloaded, rel=0.03)


def test_current_limit_takes_charge_within_its_response_time():
    sim = Simulation(Circuit((single(resistor(100.0), resistance=0.05),)))
    sim.set("left.1", voltage=10.0, current_limit=1.0, on=True)
    sim.advance(0.1)
    sim.change_load("main", 0, resistance=0.5)
    samples = sim.advance(0.2).samples["main"]
    late = samples.current[samples.time > 0.1 + 2 * FIGURES.limit_response]
    assert samples.current.max() > 5.0  # the output capacitor's charge, whatever the limit says
    assert np.abs(late - 1.0).max() < 0.1
    assert samples.current[-1] == pytest.approx(1.0, abs=1e-4)


@pytest.mark.parametrize("ohms", [5.0, 0.5, 0.05])
def test_nine_tenths_of_an_excess_are_gone_after_the_response_time(ohms):
    """From twice the limit to a short: e^(-ln 10), of an output whose own capacitor gives nothing."""
    stage, _ = derive_output_stage(FIGURES._replace(output_capacitance=1e-6))
    sim = Simulation(Circuit((single(resistor(100.0), stage=stage, resistance=0.05),)))
    sim.set("left.1", voltage=10.0, current_limit=1.0, on=True)
    sim.advance(0.1)
    sim.change_load("main", 0, resistance=ohms)
    samples = sim.advance(0.2).samples["main"]
    after = 0.1 + 0.2 * FIGURES.limit_response
    first, second = np.interp([after, after + FIGURES.limit_response], samples.time, samples.current) - 1.0
    assert first > 0.3
    assert second / first == pytest.approx(0.1, rel=0.01)


def test_a_fall_that_no_load_explains_needs_a_sink_and_says_so():
    stage, assumptions = derive_output_stage(FIGURES._replace(fall_loaded=2e-3))
    assert stage.sink > 0.0
    assert any("sinks" in sentence for sentence in assumptions)


def test_a_given_sink_and_bleeder_are_taken_as_they_are():
    stage, assumptions = derive_output_stage(FIGURES._replace(sink_current=0.5, bleeder=1000.0))
    assert (stage.sink, stage.bleeder) == (0.5, 1000.0)
    assert not any("sink" in sentence or "bleeder" in sentence for sentence in assumptions)


def test_what_the_data_sheet_does_not_say_is_declared():
    stage, assumptions = derive_output_stage(OutputFigures(20.0, 8.0))
    said = " ".join(assumptions)
    for what in ("capacitance", "recovery", "response time of the current limit", "rise", "bleeder"):
        assert what in said
    assert "power" not in said  # left out it is voltage times current, as the document's reference says
    assert math.isinf(stage.power)
    assert len(derive_output_stage(FIGURES)[1]) == 1  # sink
    assert STAGE.capacitance == 220e-6
