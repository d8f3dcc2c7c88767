"""Protections besides the limit: OPP, OCP apart from the limit, a crowbar, and sense leads that lie wrong."""

from __future__ import annotations

import numpy as np
import pytest

from railwright.physics.circuit import Branch, Circuit, LeadCircuit, Load
from railwright.physics.output_stage import OutputFigures, derive_output_stage
from railwright.physics.simulation import Simulation

FIGURES = OutputFigures(40.0, 10.0, rise=5e-3, output_capacitance=200e-6, bleeder=1e3, opp_response=2e-3)


def simulation(figures: OutputFigures = FIGURES, ohms: float = 10.0, sense: str = "terminals") -> Simulation:
    stage, _ = derive_output_stage(figures)
    load = Load("resistor", {"resistance": ohms})
    branch = Branch("main", ("out",), (stage,), LeadCircuit(0.1, 1e-6), (load,), sense=sense)  # type: ignore[arg-type]
    sim = Simulation(Circuit((branch,)))
    sim.set("out", voltage=20.0, current_limit=8.0, ovp=30.0, on=True)
    return sim


def trips(events: tuple) -> list[tuple[str, float]]:
    return [(event.what, event.time) for event in events if event.what.startswith("trips")]


def test_opp_trips_its_response_time_after_the_power_is_exceeded():
    sim = simulation()
    sim.set("out", opp=50.0)
    sim.advance(0.1)
    sim.change_load("main", 0, at=0.2, resistance=5.0)
    result = sim.advance(0.3)
    ((what, time),) = trips(result.events)
    assert what == "trips OPP"
    assert time == pytest.approx(0.202, abs=20e-6)
    assert sim.output("out").tripped == "OPP"


def test_ocp_trips_at_its_own_level_and_delay_below_the_limit():
    sim = simulation()
    sim.set("out", ocp=3.0, ocp_delay=5e-3)
    sim.change_load("main", 0, at=0.2, resistance=5.0)
    result = sim.advance(0.3)
    ((what, time),) = trips(result.events)
    assert what == "trips OCP"
    assert time == pytest.approx(0.205, abs=20e-6)
    assert result.samples["main"].current.max() < 8.0


@pytest.mark.parametrize("crowbar", [None, 0.1])
def test_a_crowbar_empties_the_output_capacitor(crowbar):
    sim = simulation(FIGURES._replace(crowbar=crowbar, ovp_response=50e-6), ohms=1e4)
    sim.set("out", at=0.1, ovp=19.0)
    samples = sim.advance(0.11).samples["main"]
    after = np.interp(0.101, samples.time, samples.terminal_voltage)
    trip = 0.1 + 50e-6
    if crowbar is None:  # bleeder and load alone
        assert after == pytest.approx(
            20.0 * np.exp(-(0.101 - trip) / (200e-6 / (1 / 1e3 + 1 / 1e4))), rel=0.01
        )
    else:
        assert after < 0.01


def test_an_open_sense_lead_that_sees_nothing_drives_the_output_into_its_ovp():
    sim = simulation(sense="load")
    sim.set("out", at=0.2, sense=(0.0, 0.0))
    result = sim.advance(0.3)
    ((what, _),) = trips(result.events)
    assert what == "trips OVP"
    assert result.samples["main"].voltage.max() > 29.0


def test_reversed_sense_leads_run_away_from_the_start():
    sim = simulation(sense="load")
    sim.set("out", sense=(0.0, -1.0))
    ((what, _),) = trips(sim.advance(0.3).events)
    assert what == "trips OVP"


def test_a_sense_error_adds_to_what_is_sensed():
    sim = simulation()
    sim.set("out", sense_error=(0.5, 0.0))
    samples = sim.advance(0.2).samples["main"]
    assert samples.terminal_voltage[-1] == pytest.approx(19.5, rel=1e-4)


@pytest.mark.parametrize(("amperes", "farads"), [(0.0, 200e-6), (0.5, 200e-6), (2.0, 1e-3)])
def test_what_an_output_takes_in_while_it_is_off_empties_the_capacitors(amperes, farads):
    """C dv/dt = -v / R - I, by quadrature down to 5 V, where it still takes in as much as at 20 V."""
    from scipy.integrate import quad

    figures = FIGURES._replace(off_sink=amperes, output_capacitance=farads)
    sim = simulation(figures, ohms=1e4)
    sim.advance(0.1)
    sim.set("out", on=False)
    ohms = 1.0 / (1.0 / 1e3 + 1.0 / 1e4)

    def slowness(v: float) -> float:
        return farads / (v / ohms + amperes)

    level = 5.0
    takes = quad(slowness, level, 20.0)[0]
    samples = sim.advance(0.1 + 1.5 * takes).samples["main"]
    later = samples.time > 0.1
    below = np.interp(-level, -samples.terminal_voltage[later], samples.time[later])
    assert below - 0.1 == pytest.approx(takes, rel=0.02, abs=2e-4)
    assert sim.output("out").on is False


def test_what_it_takes_in_while_it_is_off_is_nothing_while_it_is_on():
    one, other = (simulation(FIGURES._replace(off_sink=sunk)) for sunk in (0.0, 2.0))
    first, second = (sim.advance(0.1).samples["main"] for sim in (one, other))
    assert first.current[-1] == pytest.approx(second.current[-1], rel=1e-9)
