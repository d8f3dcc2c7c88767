"""Trips, links, groups, restarts and stepping of a simulated circuit."""

import dataclasses
import math

import numpy as np
import pytest
from tests.physics.bench import STAGE, capacitor, constant_current, converter, pair, resistor, single

from railwright.physics.circuit import Branch, Circuit, LeadCircuit
from railwright.physics.simulation import Simulation
from railwright.physics.solver import SolverError
from railwright.traces import Mode


def events_of(advance, what):
    return [event for event in advance.events if event.what == what]


def test_current_limit_trips_after_its_delay():
    sim = Simulation(Circuit((single(resistor(5.0)),)))
    sim.set("left.1", voltage=10.0, current_limit=1.0, at_limit="trip", trip_delay=0.02, on=True)
    advance = sim.advance(0.1)
    (enters,) = events_of(advance, "enters CC")
    (trips,) = events_of(advance, "trips current limit")
    assert trips.time - enters.time == pytest.approx(0.02, abs=1e-9)
    state = sim.output("left.1")
    assert (state.on, state.tripped, state.mode) == (False, "current limit", Mode.TRIPPED)
    assert advance.samples["main"].mode[-1] == Mode.TRIPPED
    assert state.voltage < 0.01


def test_an_excess_shorter_than_the_trip_delay_does_not_trip():
    sim = Simulation(Circuit((single(resistor(100.0), capacitor(470e-6)),)))
    sim.set("left.1", voltage=10.0, current_limit=0.5, at_limit="trip", trip_delay=0.05, on=True)
    advance = sim.advance(0.3)
    assert events_of(advance, "enters CC")
    assert not events_of(advance, "trips current limit")
    assert sim.output("left.1").mode == Mode.CV


def test_ovp_trips_after_its_response_time():
    sim = Simulation(Circuit((single(resistor(100.0)),)))
    sim.set("left.1", voltage=10.0, ovp=12.0, on=True)
    sim.advance(0.1)
    sim.set("left.1", voltage=14.0)
    advance = sim.advance(0.2)
    samples = advance.samples["main"]
    (trips,) = events_of(advance, "trips OVP")
    above = float(np.interp(12.0, samples.terminal_voltage[: samples.terminal_voltage.argmax()],
                            samples.time[: samples.terminal_voltage.argmax()]))  # fmt: skip
    assert trips.time - above == pytest.approx(STAGE.ovp_response, abs=2e-6)
    assert samples.terminal_voltage.max() == pytest.approx(12.0 + STAGE.rise * STAGE.ovp_response, rel=0.01)


def test_a_trip_is_cleared_before_the_output_comes_on_again():
    sim = Simulation(Circuit((single(resistor(5.0)),)))
    sim.set("left.1", voltage=10.0, current_limit=1.0, at_limit="trip", trip_delay=0.0, on=True)
    sim.advance(0.1)
    sim.set("left.1", current_limit=2.5, on=True)
    sim.advance(0.2)
    assert not sim.output("left.1").on
    sim.set("left.1", clear=True, on=True)
    sim.advance(0.3)
    assert sim.output("left.1").voltage == pytest.approx(10.0, abs=1e-4)


def test_linked_trip_switches_the_other_input_off():
    other = Branch("transducer", ("left.2",), (STAGE,), LeadCircuit(0.1, 1e-6), (resistor(1000.0),))
    circuit = Circuit((single(resistor(5.0)), other), {"transducer": ("main",)}, linked_delay=2e-3)
    sim = Simulation(circuit)
    sim.set("left.2", voltage=24.0, on=True)
    sim.set("left.1", at=0.05, voltage=10.0, current_limit=1.0, at_limit="trip", trip_delay=0.01, on=True)
    advance = sim.advance(0.5)
    (cause,) = events_of(advance, "trips current limit")
    (effect,) = events_of(advance, "trips linked")
    assert effect.subject == "left.2"
    assert effect.time - cause.time == pytest.approx(2e-3, abs=1e-9)
    assert sim.output("left.2").tripped == "linked"
    times = advance.samples["transducer"].time
    assert (np.diff(times) >= 0.0).all()
    assert times[-1] == 0.5


def test_mutual_links_end():
    other = Branch("transducer", ("left.2",), (STAGE,), LeadCircuit(0.1, 1e-6), (resistor(1000.0),))
    circuit = Circuit((single(resistor(5.0)), other), {"transducer": ("main",), "main": ("transducer",)})
    sim = Simulation(circuit)
    sim.set("left.2", voltage=24.0, on=True)
    sim.set("left.1", voltage=10.0, current_limit=1.0, at_limit="trip", trip_delay=0.01, on=True)
    sim.advance(0.5)
    assert sim.output("left.1").tripped == "current limit"
    assert sim.output("left.2").tripped == "linked"


def test_series_outputs_add_their_voltages_and_share_one_current():
    sim = Simulation(pair("series", resistor(40.0)))
    sim.set("left.1", voltage=12.0, on=True)
    sim.set("left.2", voltage=8.0, on=True)
    samples = sim.advance(0.2).samples["main"]
    assert samples.terminal_voltage[-1] == pytest.approx(20.0, abs=1e-3)
    assert samples.current[-1] == pytest.approx(20.0 / 40.01, rel=1e-4)
    assert samples.output("left.1")[0][-1] == pytest.approx(12.0, abs=1e-3)
    assert samples.output("left.2")[1][-1] == pytest.approx(samples.current[-1], rel=1e-9)


def test_the_reverse_diode_carries_the_current_of_a_series_neighbour():
    sim = Simulation(pair("series", resistor(10.0)))
    sim.set("left.1", voltage=12.0, on=True)
    samples = sim.advance(0.2).samples["main"]
    idle = samples.output("left.2")[0][-1]
    assert -0.7 - 1.2 * STAGE.diode_resistance < idle < -0.7
    assert samples.current[-1] == pytest.approx((12.0 + idle) / 10.01, rel=1e-3)


def test_in_series_one_output_in_cc_loses_voltage_and_the_other_keeps_its_own():
    sim = Simulation(pair("series", resistor(20.0)))
    sim.set("left.1", voltage=12.0, current_limit=0.8, on=True)
    sim.set("left.2", voltage=12.0, current_limit=2.0, on=True)
    samples = sim.advance(0.3).samples["main"]
    assert samples.current[-1] == pytest.approx(0.8, rel=1e-3)
    assert samples.output("left.1")[2][-1] == Mode.CC
    assert samples.output("left.2")[2][-1] == Mode.CV
    assert samples.mode[-1] == Mode.CC
    assert samples.output("left.2")[0][-1] == pytest.approx(12.0, abs=1e-3)
    assert samples.output("left.1")[0][-1] == pytest.approx(0.8 * 20.01 - 12.0, abs=0.02)


def test_parallel_outputs_add_their_currents_and_one_in_cc_carries_its_limit():
    sim = Simulation(pair("parallel", resistor(4.0)))
    sim.set("left.1", voltage=10.02, current_limit=1.5, on=True)
    sim.set("left.2", voltage=10.0, current_limit=2.0, on=True)
    samples = sim.advance(0.3).samples["main"]
    assert samples.output("left.1")[1][-1] == pytest.approx(1.5, rel=1e-3)
    assert samples.output("left.1")[2][-1] == Mode.CC
    assert samples.output("left.2")[2][-1] == Mode.CV
    assert samples.mode[-1] == Mode.CV  # the voltage is held
    assert samples.terminal_voltage[-1] == pytest.approx(10.0, abs=1e-3)
    total = samples.output("left.1")[1] + samples.output("left.2")[1]
    assert total == pytest.approx(samples.current, abs=1e-9)


@pytest.mark.parametrize(
    ("linked", "after"), [({}, ""), ({"main": ("main",)}, "linked")], ids=["each by itself", "linked"]
)
def test_outputs_that_feed_one_input_trip_together_where_they_are_linked(linked, after):
    sim = Simulation(dataclasses.replace(pair("series", resistor(5.0)), linked_trips=linked))
    for name in ("left.1", "left.2"):
        sim.set(name, voltage=10.0, current_limit=2.0, at_limit="trip", trip_delay=5e-3, on=True)
    sim.set("left.2", current_limit=1.0)
    sim.advance(0.3)
    assert sim.output("left.2").tripped == "current limit"
    assert sim.output("left.1").tripped == after
    assert sim.output("left.1").on is not bool(after)


def test_a_converter_starts_stops_and_restarts_for_ever_against_a_low_limit():
    sim = Simulation(Circuit((single(capacitor(470e-6), converter(power=6.0, soft_start=1e-3)),)))
    sim.set("left.1", voltage=12.0, current_limit=0.4, on=True)
    advance = sim.advance(1.0)
    starts, stops = events_of(advance, "starts"), events_of(advance, "stops")
    assert len(starts) > 10
    assert abs(len(starts) - len(stops)) <= 1
    assert starts[0].subject == "main"
    volts = advance.samples["main"].voltage
    at = np.searchsorted(advance.samples["main"].time, [event.time for event in starts])
    assert volts[at] == pytest.approx(8.4, abs=1e-3)


def test_constant_current_fades_below_its_compliance():
    sim = Simulation(Circuit((single(constant_current(0.02, 9.0)),)))
    sim.set("left.1", voltage=4.5, on=True)
    assert sim.advance(0.1).samples["main"].current[-1] == pytest.approx(0.01, rel=1e-3)
    sim.set("left.1", voltage=20.0)
    assert sim.advance(0.2).samples["main"].current[-1] == pytest.approx(0.02, rel=1e-3)


def test_constant_power_limit():
    stage = STAGE._replace(power=20.0)
    sim = Simulation(Circuit((single(resistor(10.0), stage=stage, resistance=0.0),)))
    sim.set("left.1", voltage=24.0, on=True)
    samples = sim.advance(0.5).samples["main"]
    assert samples.mode[-1] == Mode.CP
    bleeder = samples.terminal_voltage[-1] ** 2 / STAGE.bleeder
    assert samples.terminal_voltage[-1] * samples.current[-1] + bleeder == pytest.approx(20.0, rel=1e-4)


def test_sensing_at_the_load_makes_up_for_the_lead():
    for sense, expected in (("terminals", 10.0 * 10.0 / 10.5), ("load", 10.0)):
        sim = Simulation(Circuit((single(resistor(10.0), capacitor(10e-6), resistance=0.5, sense=sense),)))
        sim.set("left.1", voltage=10.0, on=True)
        assert sim.advance(0.2).samples["main"].voltage[-1] == pytest.approx(expected, abs=1e-3)


def test_an_output_that_is_off_falls_through_its_bleeder():
    sim = Simulation(Circuit((single(),)))
    sim.set("left.1", voltage=10.0, on=True)
    sim.advance(0.1)
    sim.set("left.1", on=False)
    samples = sim.advance(1.0).samples["main"]
    total = STAGE.capacitance + 10e-9
    expected = 10.0 * np.exp(-(samples.time - 0.1) / (STAGE.bleeder * total))
    assert np.abs(samples.terminal_voltage - expected).max() < 2e-3


def test_many_small_advances_give_what_one_gives():
    circuit = Circuit((single(capacitor(1e-3), converter(), sense="load", resistance=0.07),))

    def start():
        sim = Simulation(circuit)
        sim.set("left.1", voltage=12.0, rise=2000.0, current_limit=1.0, on=True)
        return sim

    one = start().advance(0.05)
    many, parts = start(), []
    for tick in range(1, 51):
        parts.append(many.advance(tick * 1e-3))
    times = np.concatenate([part.samples["main"].time for part in parts])
    volts = np.concatenate([part.samples["main"].voltage for part in parts])
    assert (np.diff(times) >= 0.0).all()
    whole = one.samples["main"]
    assert np.interp(whole.time, times, volts) == pytest.approx(whole.voltage, abs=5e-3)
    whats = [event.what for part in parts for event in part.events]
    assert whats == [event.what for event in one.events]
    for a, b in zip((e for p in parts for e in p.events), one.events, strict=True):
        assert a.time == pytest.approx(b.time, abs=1e-6)


def test_the_same_circuit_gives_the_same_bytes():
    def run():
        sim = Simulation(Circuit((single(capacitor(1e-3), converter()),)))
        sim.set("left.1", voltage=12.0, current_limit=1.0, on=True)
        return sim.advance(0.1).samples["main"]

    a, b = run(), run()
    assert a.voltage.tobytes() == b.voltage.tobytes()
    assert a.time.tobytes() == b.time.tobytes()


def test_quiet_time_costs_few_steps():
    sim = Simulation(Circuit((single(capacitor(1e-3), converter()),)))
    sim.set("left.1", voltage=12.0, on=True)
    sim.advance(0.2)
    before = sim.steps
    sim.advance(3600.0)
    assert sim.steps - before < 40
    assert sim.output("left.1").voltage == pytest.approx(12.0, abs=1e-6)


def test_lines_and_slew_are_followed():
    sim = Simulation(Circuit((single(resistor(20.0)),)))
    sim.set("left.1", voltage=5.0, on=True)
    sim.advance(0.1)
    sim.set("left.1", line=(15.0, 0.1))
    samples = sim.advance(0.3).samples["main"]
    inside = (samples.time > 0.105) & (samples.time < 0.2)
    assert samples.terminal_voltage[inside] == pytest.approx(
        5.0 + 100.0 * (samples.time[inside] - 0.1), abs=5e-3
    )
    sim.set("left.1", fall=50.0, voltage=10.0)
    samples = sim.advance(0.5).samples["main"]
    assert float(np.interp(0.35, samples.time, samples.terminal_voltage)) == pytest.approx(12.5, abs=5e-3)


def test_set_points_act_exactly_when_they_are_due():
    sim = Simulation(Circuit((single(resistor(100.0)),)))
    sim.set("left.1", at=0.0123456, voltage=5.0, on=True)
    sim.set("left.1", at=0.05, on=False)
    advance = sim.advance(0.1)
    assert [(e.what, e.time) for e in advance.events if e.what in ("on", "off")] == [
        ("on", 0.0123456),
        ("off", 0.05),
    ]
    with pytest.raises(ValueError, match="past"):
        sim.set("left.1", at=0.05, voltage=1.0)
    with pytest.raises(ValueError, match="back"):
        sim.advance(0.05)
    with pytest.raises(KeyError):
        sim.set("right.9", voltage=1.0)


def test_a_failure_names_time_state_and_element():
    sim = Simulation(Circuit((single(capacitor(1e-3, esr=math.nan)),)))
    sim.set("left.1", voltage=5.0, on=True)
    with pytest.raises(SolverError) as error:
        sim.advance(0.1)
    assert error.value.time == 0.0
    assert "main" in error.value.element
    assert error.value.state in str(error.value)


def test_what_oscillates_for_ever_ends_with_the_time_and_the_element(monkeypatch):
    monkeypatch.setattr("railwright.physics.player.MOST_STEPS", 2_000)
    monkeypatch.setattr("railwright.physics.player.MOST_STEPS_A_SECOND", 0)
    sim = Simulation(Circuit((single(converter(power=20.0, soft_start=0.0)),)))
    sim.set("left.1", voltage=12.0, current_limit=1.0, on=True)
    with pytest.raises(SolverError, match=r"at [0-9.e-]+ s in .*2000 steps"):
        sim.advance(5.0)
