"""What stands between a lead and an input, and protections with a level of their own, in a rehearsal."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.rehearsal.scene import PROCEDURE, short
from tests.said import says

from railwright.circuit.case import NOMINAL, fixed
from railwright.circuit.leads import lead_resistance
from railwright.documents.fixture import Fixture
from railwright.documents.loader import load_documents
from railwright.documents.output_name import OutputName
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.plan.timeline import Action
from railwright.rehearsal.circuit import build_circuit, uncertain_quantities
from railwright.rehearsal.ensemble import plan_ensemble, play_values
from railwright.rehearsal.faults import rehearse_faults
from railwright.rehearsal.rehearse import rehearse

DIODE = {"drop": "0.6 V ± 0.1 V", "at": "1 A", "resistance": "100 mohm ± 20 %"}
SLOW = {"curve": [{"current": "1 A", "time": "10 s"}, {"current": "2 A", "time": "1 s"}]}
QUICK = {"curve": [{"current": "0.2 A", "time": "10 ms"}, {"current": "1 A", "time": "1 ms"}]}
CAPACITOR = {"capacitance": "1000 uF ± 20 %", "esr": "30 mohm ± 10 %"}


def with_fixture(**parts):
    """The demo with these parts between lead and main, or with nothing there."""
    documents = load_documents(PROCEDURE)
    if not parts:
        return documents
    fixtures = {"box": Fixture.model_validate(parts)}
    return replace(documents, bench=documents.bench.model_copy(update={"fixtures": fixtures}))


def feed(fixture: str | None = "box", sense="at terminals", **more) -> dict[str, Feed]:
    told = {"current_limit": 1.0, "at_limit": "regulate", "trip_delay": 0.0, "ovp": 30.0} | more
    points = OutputSetPoints(OutputName("left.1"), **told)
    return {"main": Feed("main", "alone", (points,), "silicone pair", sense, fixture=fixture)}


def played(documents, set_points, case=NOMINAL):
    return rehearse(documents, set_points, case, short(documents), tail=0.1)


def at_end(rehearsal, column):
    return float(rehearsal.record.traces["main"].columns[column][-1])


@pytest.fixture(scope="module")
def bare():
    return played(with_fixture(), feed(None))


def test_a_diode_and_what_is_in_series_drop_by_ohm_and_threshold(bare):
    fuse = {**SLOW, "resistance": "60 mohm"}
    documents = with_fixture(diode=DIODE, fuse=fuse, switch={"resistance": "10 mohm"})
    rehearsal = played(documents, feed())
    lead = lead_resistance(documents.bench.leads["silicone pair"], documents.bench)
    drop = at_end(rehearsal, "terminal_voltage") - at_end(rehearsal, "voltage")
    expected = 0.5 + at_end(rehearsal, "current") * (lead.value.nominal + 0.1 + 0.06 + 0.01)
    assert drop == pytest.approx(expected, rel=1e-3)
    assert at_end(bare, "terminal_voltage") - at_end(bare, "voltage") < 0.1 * drop


def test_sensing_at_the_load_makes_up_for_it():
    rehearsal = played(with_fixture(diode=DIODE), feed(sense="at load"))
    assert at_end(rehearsal, "voltage") == pytest.approx(12.0, abs=0.02)
    assert at_end(rehearsal, "terminal_voltage") > 12.5


def test_a_capacitor_takes_its_charge_at_power_up(bare):
    rehearsal = played(with_fixture(capacitor=CAPACITOR), feed())
    more = rehearsal.inputs["main"].inrush_charge - bare.inputs["main"].inrush_charge
    # Less than C·V, as the converter starts later and draws for a shorter time.
    assert 0.7 * 1000e-6 * 12.0 < more < 1000e-6 * 12.0
    assert rehearsal.inputs["main"].first_time_in_limit > 1.5 * bare.inputs["main"].first_time_in_limit


def test_a_diode_keeps_the_charge_of_an_input_whose_supply_falls():
    apart = {}
    for fixture, documents in ((None, with_fixture()), ("box", with_fixture(diode=DIODE))):
        timeline = short(documents)
        timeline = replace(timeline, actions=(*timeline.actions, Action(0.11, "off", "main")))
        traces = rehearse(documents, feed(fixture), timeline=timeline, tail=2.0).record.traces["main"]
        apart[fixture] = traces.columns["voltage"][-1] - traces.columns["terminal_voltage"][-1]
    assert apart["box"] > 1.0
    assert abs(apart[None]) < 1e-3


def test_a_quick_fuse_opens_in_the_inrush_and_a_slow_one_does_not():
    events = {
        name: [e for e in played(with_fixture(fuse=curve), feed()).record.events if e.what == "fuse opens"]
        for name, curve in (("quick", QUICK), ("slow", SLOW))
    }
    assert events["slow"] == []
    (event,) = events["quick"]
    assert event.subject == "main"
    assert event.time < 0.02


def test_an_open_switch_lets_nothing_through():
    rehearsal = played(with_fixture(switch={"starts": "open"}), feed())
    assert np.abs(rehearsal.record.traces["main"].columns["current"]).max() < 1e-6
    assert at_end(rehearsal, "voltage") == pytest.approx(0.0, abs=1e-6)


def test_what_is_left_out_of_a_fixture_is_said():
    documents = with_fixture(fuse=SLOW, diode={"drop": "0.7 V"}, capacitor={"capacitance": "10 uF"})
    said = [str(each) for each in build_circuit(documents, feed())[1]]
    for part in ("fuse", "diode"):
        assert any(says(each, "main", "resistance", part) for each in said)
    assert any("ESR" in each and each.endswith("(its fixture)") for each in said)


def test_a_fixtures_uncertain_quantities():
    """Its resistances are part of the lead's one, within the sum of the bounds."""
    documents = with_fixture(diode=DIODE, capacitor=CAPACITOR)
    found = uncertain_quantities(documents, feed())
    bare = uncertain_quantities(documents, feed(None))
    assert {name for name in found if name not in bare} == {
        "main.fixture.drop", "main.fixture.capacitance", "main.fixture.esr",
    }  # fmt: skip
    drop, loop = found["main.fixture.drop"], found["main.lead.resistance"]
    assert (drop.low, drop.nominal, drop.high) == pytest.approx((0.4, 0.5, 0.6))
    assert loop.high - bare["main.lead.resistance"].high == pytest.approx(0.12)
    assert loop.low - bare["main.lead.resistance"].low == pytest.approx(0.08)


@pytest.mark.slow  # compiled for these loads
def test_an_ensemble_covers_a_fixture():
    """Each case to the last digits what a rehearsal with its values gives."""
    documents = with_fixture(diode=DIODE, capacitor=CAPACITOR, fuse={**SLOW, "resistance": "60 mohm ± 20 %"})
    plan = plan_ensemble(documents, feed(), 64, seed=3, timeline=short(documents), tail=0.1)
    values = plan.design.values(0)
    measures, failed = play_values(plan, values)
    assert not failed.any()
    for case in (0, 1, 40, 63):
        named = dict(zip(plan.design.names, values[case].tolist(), strict=True))
        expected = played(documents, feed(), fixed(named)).inputs["main"]
        for measure in ("peak_current", "settled_voltage", "inrush_charge"):
            assert measures["main"][measure][case] == pytest.approx(getattr(expected, measure), rel=1e-9)
    drop = values[:, plan.design.names.index("main.fixture.drop")]
    assert np.corrcoef(drop, measures["main"]["settled_voltage"])[0, 1] < -0.9


def test_a_diode_contains_a_reversed_lead():
    def reversed_lead(documents, fixture):
        results = rehearse_faults(documents, feed(fixture)).results
        return next(each for each in results if each.fault == "reversed")

    blocked = reversed_lead(with_fixture(diode=DIODE), "box")
    assert blocked.peak_voltage == pytest.approx(0.0, abs=1e-6)
    assert blocked.lowest_voltage == pytest.approx(0.0, abs=1e-6)
    assert blocked.contained is True
    assert says(blocked.note, "diode", "box")
    assert reversed_lead(with_fixture(), None).lowest_voltage < -1.0


@pytest.mark.parametrize(
    ("level", "what"),
    [
        ({"ocp": 0.5, "ocp_delay": 1e-3}, "trips OCP"),
        ({"ocp": 0.5, "ocp_delay": 0.05}, None),
        ({"opp": 3.0}, "trips OPP"),
        ({"ocp": 2.0, "opp": 40.0}, None),
    ],
)
def test_own_levels_trip(level, what):
    """The inrush is in the current limit of 1 A for some 15 ms."""
    assert played(with_fixture(), feed(None, **level)).inputs["main"].tripped == what


def test_a_crowbar_pulls_the_input_down_after_an_ovp_trip():
    """With a level below what is played, the OVP trips; with a crowbar the terminals are then shorted."""
    documents = with_fixture()
    left, fallen, said = documents.bench.supplies["left"], {}, {}
    for crowbar in (None, "true", 0.2):
        ovp = left.outputs["1"].ovp.model_copy(update={"crowbar": crowbar})
        outputs = {**left.outputs, "1": left.outputs["1"].model_copy(update={"ovp": ovp})}
        supplies = {**documents.bench.supplies, "left": left.model_copy(update={"outputs": outputs})}
        changed = replace(documents, bench=documents.bench.model_copy(update={"supplies": supplies}))
        rehearsal = played(changed, feed(None, ovp=10.0))
        assert rehearsal.inputs["main"].tripped == "trips OVP"
        fallen[crowbar] = at_end(rehearsal, "terminal_voltage")
        said[crowbar] = [str(each) for each in rehearsal.assumptions if "crowbar" in each.text]
    assert fallen[None] > 5.0
    assert fallen["true"] < 0.1
    assert fallen[0.2] < 0.1
    assumed = ["left.1: resistance of its crowbar is not given: 50 mΩ assumed"]
    assert said == {None: [], "true": assumed, 0.2: []}
