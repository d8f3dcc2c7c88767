"""Every fault on the tide-gauge station: where it can happen, what trips, what contains it."""

import dataclasses
import datetime as dt
import math

import numpy as np
import pytest
from tests.bench import BENCH, DEVICE, EXAMPLE, PROCEDURE, demo_with
from tests.physics.bench import capacitor, resistor, single
from tests.said import figures, says

from railwright.circuit.case import HIGH
from railwright.documents.output_name import OutputName
from railwright.physics.circuit import Circuit
from railwright.physics.simulation import Simulation
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.rehearsal import crossed_sense
from railwright.rehearsal.fault_entries import FAULTS
from railwright.rehearsal.faults import _Pins, energy_beyond, power_up_alone, rehearse_faults

WITHSTANDS = "- {voltage: 20 V}                  # for any time\n      - {voltage: 26 V, for: 1 s}"


def feeds(at_limit="trip", ovp=18.0, transducer_sense="at terminals", names=("main", "transducer")):
    main = OutputSetPoints(OutputName("left.1"), 1.0, at_limit, 40e-3, ovp)
    transducer = OutputSetPoints(OutputName("right.1"), 0.1, "trip", 60e-3, 30.0)
    all_feeds = {
        "main": Feed("main", "alone", (main,), "silicone pair", "at load"),
        "transducer": Feed(
            "transducer", "alone", (transducer,), "thin pair", transducer_sense, trips_when=("main",)
        ),
    }
    return {name: all_feeds[name] for name in names}


def study_of(folder, *edits, **more):
    return rehearse_faults(demo_with(folder, *edits), feeds(**more))


def of(study, fault, name="main"):
    (found,) = [each for each in study.results if (each.fault, each.input) == (fault, name)]
    return found


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    return study_of(tmp_path_factory.mktemp("station"))


def test_each_fault_happens_where_it_can(study):
    by_input = {
        name: [each.fault for each in study.results if each.input == name] for name in ("main", "transducer")
    }
    everywhere = ["short", "reversed", "limit_mistyped", "ovp_mistyped", "voltage_mistyped", "supply_out"]
    sensed = ["sense_open", "sense_reversed", "sense_shorted", "power_open"]
    assert sorted(by_input["main"]) == sorted(everywhere + sensed)
    assert sorted(by_input["transducer"]) == sorted(everywhere)
    assert study.sound == ""
    assert len(FAULTS) == len(everywhere) + len(sensed) + 1


def test_a_short_trips_after_the_delay_and_takes_the_linked_output_along(study):
    short = of(study, "short")
    assert [(each.subject, each.what) for each in short.trips] == [
        ("left.1", "trips current limit"),
        ("right.1", "trips linked"),
    ]
    assert short.trips[0].time == pytest.approx(40e-3, abs=1e-4)
    assert (short.contained, short.why) == (True, "")
    assert short.lead.borne is True
    assert short.fed_back > 100.0  # the device's capacitor, through 60 + 10 mΩ


def test_a_short_that_nothing_ends_is_judged_by_the_lead(tmp_path):
    edit = (BENCH, "8 mohm, permitted_current: 8 A", "8 mohm")
    short = of(study_of(tmp_path, edit, at_limit="regulate"), "short")
    assert short.trips == ()
    assert short.lead.after == pytest.approx(1.0, rel=1e-2)
    assert short.contained is None
    assert says(short.why, "1 A")


def test_an_open_sense_lead_rises_to_the_ovp_where_the_bench_does_not_say(study):
    fault = of(study, "sense_open")
    assert fault.trips[0].what == "trips OVP"
    assert 18.0 < fault.peak_voltage < 18.2
    assert fault.contained is True
    assert any(says(each.text, "open sense lead") for each in study.assumptions)


def test_an_output_that_falls_back_loses_the_drop_of_the_lead(tmp_path):
    edit = (BENCH, "sense: {compensates: 1 V}", "sense: {compensates: 1 V, open: falls back}")
    study = study_of(tmp_path, edit, names=("main",))
    fault = of(study, "sense_open")
    assert (fault.trips, fault.contained) == ((), True)
    assert fault.peak_voltage < 12.01
    assert 11.9 < fault.lowest_voltage < 12.0
    assert not any(says(each.text, "open sense lead") for each in study.assumptions)


def test_an_output_that_sees_nothing_rises_as_one_that_sees_too_little():
    """The ceiling is made by weighing what is sensed; up to it that is the same as sensing 0 V."""
    tripped = []
    for weight in (0.0, 12.0 / 37.8):
        simulation = Simulation(Circuit((single(capacitor(1e-3), resistor(40.0)),)))
        simulation.set("left.1", current_limit=1.0, voltage=12.0, ovp=20.0, on=True)
        simulation.advance(0.2)
        simulation.set("left.1", sense=(weight, 0.0))
        events = simulation.advance(0.4).events
        tripped += [event.time for event in events if event.what == "trips OVP"]
    assert len(tripped) == 2
    assert tripped[0] - 0.2 == pytest.approx(tripped[1] - 0.2, rel=1e-3)


@pytest.mark.parametrize(
    ("withstands", "contained", "why"),
    [
        (WITHSTANDS, False, "above 26 V"),
        ("- {voltage: 40 V}", True, ""),
    ],
)
def test_without_a_useful_ovp_the_output_rises_to_its_ceiling(tmp_path, withstands, contained, why):
    study = study_of(tmp_path, (DEVICE, WITHSTANDS, withstands), ovp=38.0, names=("main",))
    fault = of(study, "sense_shorted")
    assert fault.peak_voltage == pytest.approx(1.05 * 36.0, rel=2e-3)
    assert (fault.trips, fault.contained) == ((), contained)
    assert why in fault.why
    (highest,) = [each for each in fault.stresses if each.level == (40.0 if contained else 26.0)]
    assert highest.time == (0.0 if contained else math.inf)


def test_what_the_device_withstands_may_be_unknown(tmp_path):
    text = (EXAMPLE / DEVICE).read_text()
    start = text.index("    withstands:                          # at the connector")
    old = text[start : text.index("    current: {steady: 180 mA")]
    study = study_of(tmp_path, (DEVICE, old, ""), names=("main",))
    assert of(study, "sense_open").contained is None
    assert says(of(study, "sense_open").why, "withstands")
    assert of(study, "reversed").contained is None
    assert of(study, "short").contained is True


def test_a_reversed_lead_is_judged_by_the_reverse_voltage_that_is_withstood(study):
    main, transducer = of(study, "reversed"), of(study, "reversed", "transducer")
    assert main.lowest_voltage == pytest.approx(-12.0, abs=0.05)
    assert transducer.lowest_voltage == pytest.approx(-24.0, abs=0.05)
    assert says(transducer.why, "reversed", "1 V", "transducer", "main", "-17 V", "25 V")
    assert not says(main.why, "reversed")  # 16 V are withstood
    assert says(main.why, "transducer", "main", "-17 V", "25 V")
    assert any(each.startswith("36") for each in figures(main.why))
    assert main.contained is transducer.contained is False
    assert main.at_power_up


def test_a_reversed_lead_with_tied_returns_says_what_is_not_computed(tmp_path):
    study = study_of(tmp_path, (BENCH, "power: 60 W", "power: 60 W\n        negative: earth"))
    assert says(of(study, "reversed").note, "shorts")
    assert not says(of(study, "reversed", "transducer").note, "shorts")


def test_mistyped_figures_go_as_far_as_the_output_can(study):
    assert says(of(study, "limit_mistyped").title, "2.5 A")
    assert says(of(study, "limit_mistyped", "transducer").title, "1 A")
    assert says(of(study, "ovp_mistyped").title, "38 V")
    voltage = of(study, "voltage_mistyped")
    assert says(voltage.title, "36 V")
    assert voltage.trips[0].what == "trips OVP"
    assert voltage.peak_voltage == pytest.approx(18.0, abs=0.2)
    assert of(study, "limit_mistyped").peak_current > 1.5 * of(study, "ovp_mistyped").peak_current


def test_a_mistyped_limit_may_let_more_in_than_does_no_harm(tmp_path):
    study = study_of(tmp_path, (DEVICE, "at_most: 2.5 A", "at_most: 1.5 A"), names=("main",))
    assert of(study, "limit_mistyped").contained is False
    assert says(of(study, "limit_mistyped").why, "1.5 A")
    assert of(study, "ovp_mistyped").contained is True


def test_what_is_typed_as_it_was_meant_is_no_fault(tmp_path):
    """The OVP stands at its highest level already."""
    study = study_of(tmp_path, ovp=38.0, names=("main",))
    assert "ovp_mistyped" not in [each.fault for each in study.results]


def test_the_sense_lead_carries_the_current_of_an_open_power_lead(tmp_path):
    edit = (BENCH, "sense: {compensates: 1 V}", "sense: {compensates: 1 V, lead_resistance: 200 mohm}")
    study = study_of(tmp_path, edit, names=("main",))
    fault = of(study, "power_open")
    steady = 3.6 / 0.86 / 12.0
    assert fault.lead.after == pytest.approx(steady, rel=1e-2)
    assert fault.energy == pytest.approx(0.2 * steady**2 * 0.5, rel=0.01)  # followed for 0.5 s
    assert fault.energy_in == "the sense lead"


def test_a_supply_that_drops_out_takes_its_inputs_along(study):
    main, transducer = of(study, "supply_out"), of(study, "supply_out", "transducer")
    assert (says(main.title, "left"), says(transducer.title, "right")) == (True, True)
    assert main.trips == transducer.trips == ()
    assert main.contained is transducer.contained is True


def test_a_lost_supply_may_leave_a_difference_that_must_never_be(tmp_path):
    study = study_of(tmp_path, (DEVICE, "outside: -17 V .. 25 V", "outside: -17 V .. 15 V"))
    lost = of(study, "supply_out")
    assert lost.contained is False
    assert says(lost.why, "transducer", "main", "-17 V", "15 V")


def test_what_a_freewheel_diode_leaves_is_no_reversed_lead(tmp_path):
    figures = "resistance: 40 ohm, inductance: 100 mH, diode_drop: 0.8 V, diode_resistance: 50 mohm"
    coil = f"- coil: {{{figures}}}\n      - converter:"
    lost = of(study_of(tmp_path, (DEVICE, "- converter:", coil), names=("main",)), "supply_out")
    assert lost.contained is True
    alone = (
        "load: [{coil: {resistance: 40 ohm, inductance: 1 H, diode_drop: 0.7 V, "
        "diode_resistance: 50 mohm}}]\n"
    )
    text = (EXAMPLE / DEVICE).read_text()
    old = text[
        text.index("load:                                # parts") : text.index("  transducer:\n    nominal")
    ]
    study = study_of(tmp_path, (DEVICE, old, alone), names=("main",))
    lost = of(study, "supply_out")
    assert -1.0 < lost.lowest_voltage < -0.5
    assert lost.contained is True


def test_crossed_sense_leads_drive_one_input_up_and_the_other_down(tmp_path):
    study = study_of(
        tmp_path, (PROCEDURE, "lead: thin pair, sense: at terminals", "lead: thin pair, sense: at load"),
        transducer_sense="at load",
    )  # fmt: skip
    main, transducer = of(study, "sense_crossed"), of(study, "sense_crossed", "transducer")
    assert main.trips == transducer.trips
    assert main.trips[0].subject == "right.1"  # it sees 12 V and wants 24 V
    assert main.trips[0].what == "trips OVP"
    assert 30.0 < transducer.peak_voltage < 30.3
    assert main.lowest_voltage < 9.0  # it sees 24 V and wants 12 V


def test_crossed_sense_does_not_depend_on_the_length_of_its_windows(tmp_path, monkeypatch):
    sensed = (PROCEDURE, "lead: thin pair, sense: at terminals", "lead: thin pair, sense: at load")
    documents = demo_with(tmp_path, sensed)
    results = []
    for shortest in (20e-6, 5e-6):
        monkeypatch.setattr(crossed_sense, "SHORTEST", shortest)
        study = rehearse_faults(documents, feeds(transducer_sense="at load"))
        results.append([of(study, "sense_crossed", name) for name in ("main", "transducer")])
    for coarse, fine in zip(*results, strict=True):
        assert coarse.peak_voltage == pytest.approx(fine.peak_voltage, rel=2e-3)
        assert coarse.lowest_voltage == pytest.approx(fine.lowest_voltage, rel=1e-2)
        assert [each.time for each in coarse.trips] == pytest.approx(
            [each.time for each in fine.trips], rel=1e-2
        )


def test_two_equal_inputs_crossed_fall_apart_all_the_same(tmp_path):
    """Each loop holds the other's voltage: the sum stays, the difference grows."""
    both = feeds(transducer_sense="at load")
    order = "{order: [main, transducer],"
    lower = (PROCEDURE, f"power_up: {order}", f"power_up: {order[:-1]}, voltages: {{transducer: 12 V}},")
    study = rehearse_faults(demo_with(tmp_path, lower), both)
    main, transducer = of(study, "sense_crossed"), of(study, "sense_crossed", "transducer")
    assert main.trips != ()
    assert max(main.peak_voltage - 12.0, transducer.peak_voltage - 12.0) > 5.0
    assert min(main.lowest_voltage, transducer.lowest_voltage) < 8.0


def test_outputs_in_series_share_a_fault(tmp_path):
    points = tuple(
        OutputSetPoints(OutputName(each), 1.0, "trip", 40e-3, 9.0, 0.5) for each in ("left.1", "left.2")
    )
    group = {"main": Feed("main", "series", points, "silicone pair", "at load")}
    study = rehearse_faults(demo_with(tmp_path), group)
    rises = of(study, "sense_shorted")
    assert {each.what for each in rises.trips} >= {"trips OVP"}
    assert 18.0 < rises.peak_voltage < 18.6
    assert says(of(study, "voltage_mistyped").title, "72 V")
    assert says(of(study, "ovp_mistyped").title, "76 V")
    assert of(study, "short").outputs == ("left.1", "left.2")


def test_the_case_is_taken_along(tmp_path):
    documents = demo_with(tmp_path)
    nominal, high = (
        of(rehearse_faults(documents, feeds(names=("main",)), *case), "sense_open") for case in ((), (HIGH,))
    )
    assert high.trips[0].time > 1.1 * nominal.trips[0].time  # more capacitance to charge


def test_a_power_up_that_trips_makes_a_study_that_says_little(tmp_path):
    wrong = feeds(names=("main",))
    points = dataclasses.replace(wrong["main"].outputs[0], trip_delay=3e-3)
    wrong["main"] = dataclasses.replace(wrong["main"], outputs=(points,))
    study = rehearse_faults(demo_with(tmp_path), wrong)
    assert says(study.sound, "left.1", "current limit")


def test_only_what_is_powered_up_is_rehearsed(tmp_path):
    documents = demo_with(tmp_path)
    steps = tuple(step for step in documents.procedure.steps if step.power_up is None)
    procedure = documents.procedure.model_copy(update={"steps": steps})
    study = rehearse_faults(dataclasses.replace(documents, procedure=procedure), feeds())
    assert (study.results, study.sound != "") == ((), True)
    timeline = power_up_alone(documents, feeds())
    assert [action.kind for action in timeline.actions] == ["on", "line", "on", "line"]
    assert dt.timedelta(seconds=timeline.duration) < dt.timedelta(seconds=1)


@pytest.mark.parametrize("width", [1e-3, 4e-3, 20e-3])
@pytest.mark.parametrize("peak", [1.0, 4.5])
def test_energy_beyond_the_usual_does_not_hang_on_where_either_has_rows(peak: float, width: float) -> None:
    """5 W for 0.1 s less a usual triangle that the fault's rows step over, and the other way round."""
    at = np.array([0.0, 0.05 - width / 2, 0.05, 0.05 + width / 2, 0.1])
    triangle, ones = np.array([0.0, 0.0, peak, 0.0, 0.0]), np.ones(5)
    few = _Pins(np.array([0.0, 0.03, 0.1]), np.full(3, 5.0), np.ones(3), np.ones(3))
    assert energy_beyond(few, _Pins(at, triangle, ones, ones)) == pytest.approx(0.5 - peak * width / 2)
    assert energy_beyond(_Pins(at, 5.0 + triangle, ones, ones), few) == pytest.approx(peak * width / 2)
