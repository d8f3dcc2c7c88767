"""The demo's procedure is rehearsed: results, events, assumptions, cases, and groups of outputs."""

import dataclasses

import numpy as np
import pytest

from railwright.circuit.case import HIGH, LOW, NOMINAL, fixed
from railwright.circuit.errors import QUANTITIES
from railwright.documents.output_name import OutputName
from railwright.examples import example
from railwright.physics import conductors
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.plan.timeline import Action, Timeline, build_timeline
from railwright.rehearsal.circuit import build_circuit, uncertain_quantities
from railwright.rehearsal.rehearse import rehearse
from railwright.traces import Mode

PROCEDURE = example() / "power-input.procedure.yaml"


def feed(name="main", output="left.1", limit=1.0, delay=40e-3, at_limit="trip", ovp=18.0, **more):
    points = OutputSetPoints(OutputName(output), limit, at_limit, delay, ovp)
    lead, sense = ("silicone pair", "at load") if name == "main" else ("thin pair", "at terminals")
    return Feed(name, "alone", (points,), lead, sense, **more)


@pytest.fixture(scope="module")
def set_points():
    second = feed("transducer", "right.1", 0.1, 60e-3, ovp=34.0, trips_when=("main",))
    return {"main": feed(), "transducer": second}


@pytest.fixture(scope="module")
def rehearsal(documents, set_points):
    return rehearse(documents, set_points)


def test_the_whole_procedure_is_played(rehearsal, documents):
    timeline = build_timeline(documents.procedure, documents.device)
    assert rehearsal.record.origin == "rehearsal"
    assert rehearsal.record.spans == timeline.spans
    for traces in rehearsal.record.traces.values():
        assert traces.time[0] == 0.0
        assert traces.time[-1] == pytest.approx(timeline.duration + 0.5)
        assert (np.diff(traces.time) >= 0.0).all()
        assert set(traces.columns) == {"voltage", "terminal_voltage", "current", "mode"}
        assert all(np.isfinite(values).all() for values in traces.columns.values())
    assert rehearsal.steps < 5000


def test_the_healthy_demo_trips_nothing(rehearsal):
    main, transducer = rehearsal.inputs["main"], rehearsal.inputs["transducer"]
    assert (main.tripped, transducer.tripped) == (None, None)
    assert main.tripped_at is None
    assert 1.0 < main.inrush_peak < 1.7
    assert 10e-3 < main.first_time_in_limit < 40e-3
    assert main.time_in_limit >= main.first_time_in_limit
    assert main.peak_voltage == pytest.approx(16.0, abs=0.1)
    assert main.inrush_charge > 1000e-6 * 12.0


def test_the_converter_starts_and_stops_where_the_device_document_says(rehearsal):
    traces = rehearsal.record.traces["main"]
    for what, volts in (("starts", 8.4), ("stops", 7.6)):
        times = [
            event.time for event in rehearsal.record.events if (event.subject, event.what) == ("main", what)
        ]
        assert len(times) == 2
        assert np.interp(times, traces.time, traces.columns["voltage"]) == pytest.approx(volts, abs=2e-3)


def test_every_assumption_is_declared_once(rehearsal):
    said = [str(each) for each in rehearsal.assumptions]
    assert len(set(said)) == len(said)
    text = "\n".join(said)
    for what in ("damping", "exceed", "sink", "inductance", "nF", "after the trip it follows"):
        assert what in text


def test_a_trip_of_main_takes_the_transducer_with_it(documents, set_points):
    changed = {**set_points, "main": feed(delay=5e-3)}
    timeline = build_timeline(documents.procedure, documents.device)
    early = tuple(
        dataclasses.replace(action, time=0.0)
        if action.kind == "on" and action.input == "transducer"
        else action
        for action in timeline.actions
    )
    result = rehearse(
        documents, changed, timeline=Timeline(tuple(sorted(early, key=lambda a: a.time)), (), 0.3)
    )
    main, transducer = result.inputs["main"], result.inputs["transducer"]
    assert main.tripped == "trips current limit"
    assert transducer.tripped == "trips linked"
    # On another supply: seen at the next look after 10 ms, 20 ms for the look, 20 ms for the command.
    assert transducer.tripped_at == pytest.approx(main.tripped_at + 50e-3, abs=1e-9)
    assert result.record.traces["main"].columns["mode"][-1] == Mode.TRIPPED
    assert result.inputs["main"].inrush_peak is None  # this timeline has no step that powers up


def test_cases_pick_every_uncertain_quantity(documents, set_points):
    quantities = uncertain_quantities(documents, set_points)
    expected = {
        "main.capacitor.capacitance",
        "main.converter.output_power",
        "main.converter.efficiency",
        "main.converter.starts_at",
        "main.converter.stops_at",
        "main.lead.resistance",
        "transducer.lead.resistance",
        "transducer.constant_current.current",
        "transducer.capacitor.capacitance",
        "left.1.damping",
        "left.1.limit_overshoot",
        "right.1.damping",
        "right.1.limit_overshoot",
    }
    expected |= {f"{output}.{error}" for output in ("left.1", "right.1") for error in QUANTITIES}
    assert set(quantities) == expected
    for case, pick in ((NOMINAL, "nominal"), (LOW, "low"), (HIGH, "high")):
        circuit, _ = build_circuit(documents, set_points, case)
        load = circuit.branches[0].loads[0]
        assert load.values["capacitance"] == getattr(quantities["main.capacitor.capacitance"], pick)
    circuit, _ = build_circuit(documents, set_points, fixed({"main.capacitor.capacitance": 1.3e-3}))
    assert circuit.branches[0].loads[0].values["capacitance"] == 1.3e-3
    assert circuit.branches[0].loads[1].values["output_power"] == pytest.approx(3.6)


def test_more_capacitance_is_longer_in_the_limit(documents, set_points, rehearsal):
    only = {"main": set_points["main"]}
    timeline = build_timeline(documents.procedure, documents.device)
    short = Timeline(tuple(a for a in timeline.actions if a.time < 0.2), timeline.spans[:1], 0.2)
    shifted = rehearse(documents, only, fixed({"main.capacitor.capacitance": 1.3e-3}), timeline=short)
    ratio = shifted.inputs["main"].first_time_in_limit / rehearsal.inputs["main"].first_time_in_limit
    assert 1.2 < ratio < 1.35


def test_the_lead_is_worked_out_from_the_bench(documents, set_points):
    circuit, _ = build_circuit(documents, set_points)
    copper = conductors.loop_resistance(conductors.awg_area(18), 1.5, 23.0)
    assert circuit.branches[0].lead.resistance == pytest.approx(copper + 8e-3, rel=1e-12)
    assert circuit.linked_trips == {"transducer": ("main",)}


def test_outputs_in_series_share_the_voltage(documents):
    outputs = tuple(
        OutputSetPoints(OutputName(name), 1.0, "regulate", 0.0, 12.0, 0.5) for name in ("left.1", "left.2")
    )
    group = Feed("main", "series", outputs, "silicone pair", "at terminals")
    actions = (Action(0.0, "on", "main"), Action(0.0, "line", "main", 12.0, 0.05))
    result = rehearse(documents, {"main": group}, timeline=Timeline(actions, (), 0.2), tail=0.0)
    traces = result.record.traces["main"]
    assert traces.columns["terminal_voltage"][-1] == pytest.approx(12.0, abs=1e-3)
    assert result.inputs["main"].tripped is None


def test_the_inrush_charge_does_not_depend_on_what_follows(documents, set_points, rehearsal):
    longer = build_timeline(documents.procedure, documents.device)
    only = Timeline(longer.actions[:4], longer.spans[:1], longer.spans[0].end)
    alone = rehearse(documents, set_points, timeline=only, tail=3.0)
    for name in ("main", "transducer"):
        assert alone.inputs[name].inrush_charge == pytest.approx(
            rehearsal.inputs[name].inrush_charge, rel=1e-4
        )


def test_a_resistor_has_a_short_form():
    from railwright.physics.loads.resistor import Resistor

    assert Resistor.model_validate("2.2 kohm") == Resistor.model_validate({"resistance": "2.2 kohm"})
    assert Resistor.model_validate("2.2 kohm").resistance.nominal == 2200.0
