"""The bound of a current that no reading sees, against the physics it bounds."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from tests.said import says
from tests.settings.station import TODAY, Edit, station

from railwright.evaluation.data import as_data, evaluation_from_data
from railwright.evaluation.evaluate import evaluate
from railwright.evaluation.reading import supply_model
from railwright.physics.surge import SurgePath
from railwright.plan.timeline import build_timeline
from railwright.quantities import figures_of
from railwright.quantities.units import DIMENSION_NAMES
from railwright.rehearsal.read import as_read
from railwright.rehearsal.rehearse import rehearse
from railwright.report.figures import show_measured
from railwright.settings.settle import settle

HARD_LOAD: tuple[Edit, ...] = (
    ("procedure", "ovp: 18 V", "ovp: 13 V"),
    ("procedure", "trip_delay: 40 ms", "trip_delay: 400 ms"),
    ("device", "1000 uF ± 20 %, esr: 60 mohm", "1000 uF, esr: 2 mohm"),
    ("device", "output_power: 3.6 W ± 10 %", "output_power: 3 kW"),
    ("device", "efficiency: 83 % .. 89 %", "efficiency: 100 %"),
    ("device", "starts_at: 8.2 V .. 8.6 V", "starts_at: 11.5 V"),
    ("device", "stops_at: 7.4 V .. 7.8 V", "stops_at: 1 V"),
    ("device", "soft_start: 8 ms", "soft_start: 20 us"),
)
"""A device that empties 1000 µF from 11.5 V to 1 V within tens of µs: an empty capacitor on the lead."""


@pytest.mark.parametrize("inductance", [0.65, 20.0])
def test_the_bound_holds_in_a_rehearsal_of_an_empty_capacitor_on_the_lead(
    inductance: float, tmp_path: Path
) -> None:
    lead = ("bench", "permitted_current: 8 A", f"permitted_current: 8 A, inductance: {inductance:g} uH/m")
    documents = station(tmp_path, *HARD_LOAD, lead)
    set_points = settle(documents, TODAY).set_points
    whole = build_timeline(documents.procedure, documents.device)
    short = replace(whole, duration=0.05, actions=tuple(each for each in whole.actions if each.time < 0.05))
    peak = rehearse(documents, set_points, timeline=short, tail=0.0).inputs["main"].peak_current
    model = supply_model(documents.bench, set_points["main"])
    assert model.surge is not None
    assert model.voltage_bound is not None
    surge = model.surge.largest(model.voltage_bound.value + model.voltage_bound.tolerance)
    assert surge is not None
    assert 10.0 < peak <= surge.current < 3.0 * peak
    # 13 V, 0.1 V of accuracy, and 200 µs in which 1 A, 4.5 mA of error and half of 2.5 A charge 220 µF.
    highest = 13.1 + (1.0045 + 1.25) * 200e-6 / 220e-6
    assert says(surge.words, f"220 µF at {highest:.2f} V discharge")


def short_circuit(path: SurgePath, voltage: float, end: float = 5e-4) -> float:
    """Peak current [A] into a short behind the lead; the regulator gives `first`, from `response` on `limit`.

    The two equations C v' = i_reg - i and L i' = v - R i, integrated by scipy.
    """
    assert path.capacitance is not None
    assert path.inductance is not None
    assert path.first is not None
    capacitance, inductance, resistance = path.capacitance, path.inductance, path.resistance or 0.0

    def slope(time: float, state: np.ndarray) -> list[float]:
        most = path.first if time < (path.response or 0.0) else path.limit
        regulated = most * float(np.clip((voltage - state[0]) / 0.1, 0.0, 1.0))
        return [(regulated - state[1]) / capacitance, (state[0] - resistance * state[1]) / inductance]

    solved = solve_ivp(slope, (0.0, end), [voltage, 0.0], method="LSODA", max_step=1e-6, rtol=1e-8)
    return float(np.max(solved.y[1]))


PATHS = [
    SurgePath(1.0, 0.07, 1e-6, 220e-6, 1.6, 1e-3),
    SurgePath(1.0, 0.5, 1e-6, 220e-6, 1.6, 1e-3),
    SurgePath(1.0, 0.01, 20e-6, 100e-6, 1.6, 50e-6),
    SurgePath(1.0, 0.02, 30e-6, 1e-6, 8.0, 1e-3),
]


@pytest.mark.parametrize("path", PATHS)
def test_the_bound_holds_for_a_short_circuit_and_is_tight(path: SurgePath) -> None:
    peak = short_circuit(path, 18.0)
    surge = path.largest(18.0)
    assert surge is not None
    assert peak <= surge.current < 1.6 * peak


@pytest.mark.parametrize("damping", [0.05, 0.5, 1.0, 3.0])
def test_the_discharge_of_a_capacitor_is_the_textbook_one(damping: float) -> None:
    """With nothing from the regulator the bound is the peak of the R-L-C discharge itself."""
    path = SurgePath(0.0, 2.0 * damping * 0.1, 1e-6, 100e-6, 0.0, 1e-3)
    surge = path.largest(10.0)
    assert surge is not None
    assert surge.current == pytest.approx(short_circuit(path, 10.0, 3e-4), rel=1e-3)


def test_each_bound_needs_its_own_figures_and_the_least_one_holds() -> None:
    nothing, ohm = SurgePath(1.0), SurgePath(1.0, resistance=0.1)
    assert nothing.largest(12.0) is None
    bound = ohm.largest(12.0)
    assert bound is not None
    assert bound.current == pytest.approx(120.0)
    assert says(bound.words, "inductance", "capacitance")
    lossless = SurgePath(1.0, None, 4e-6, 100e-6, 1.5, 1e-3).largest(12.0)
    assert lossless is not None
    assert lossless.current == pytest.approx(1.5 + 12.0 * 5.0)
    # A limit that responds within 1 µs, through 30 µH: 12 V · 1 µs / 30 µH = 0.4 A, then 2.19 A.
    quick = SurgePath(1.0, None, 30e-6, 1e-6, 8.0, 1e-6).largest(12.0)
    assert quick is not None
    assert quick.current == pytest.approx(1.0 + np.hypot(0.4, 12.0 * np.sqrt(1 / 30)), rel=1e-6)
    assert says(quick.words, "1 µs")


def test_outputs_in_a_group_share_a_surge(tmp_path: Path) -> None:
    joined = "main:       {from: {%s: [left.1, left.2]}, "
    for word, limit, capacitance in (("parallel", 1.006 + 0.003, 440e-6), ("series", 1.005, 110e-6)):
        edit = ("procedure", "main:       {from: left.1, ", joined % word)
        documents = station(tmp_path, edit)
        model = supply_model(documents.bench, settle(documents, TODAY).set_points["main"])
        assert model.surge is not None
        assert model.surge.limit == pytest.approx(limit)
        assert model.surge.capacitance == pytest.approx(capacitance)


@pytest.mark.parametrize(("lead", "open_above"), [("", True), (", inductance: 0.65 uH/m", False)])
def test_a_peak_that_only_a_lead_bounds_is_shown_without_an_upper_end(
    lead: str, open_above: bool, tmp_path: Path
) -> None:
    """The bound itself stays: what the lead's resistance lets through at the highest OVP level."""
    asked = "    of: {}\n    during: first power\n    at_most: {}\n"
    documents = station(
        tmp_path,
        ("bench", "permitted_current: 8 A", f"permitted_current: 8 A{lead}"),
        ("procedure", asked.format("transducer", "60 mA"), asked.format("main", "3 A")),
    )
    set_points = settle(documents, TODAY).set_points
    record = rehearse(documents, set_points).record
    timeline = build_timeline(documents.procedure, documents.device)
    read = as_read(record, documents, set_points, timeline, dict.fromkeys(set_points, 0.01))
    found = evaluate(documents, set_points, read)
    result = next(each for each in found.results if each.requirement == "transducer inrush")
    assert result.measured is not None
    assert result.measured.open_above is open_above
    assert result.measured.high < math.inf
    assert ("≥" in result.reason) is open_above
    shown = show_measured(result.measured.value, result.measured.low, result.measured.bounded, "A")
    assert shown[1].startswith("≥") is open_above
    assert evaluation_from_data(json.loads(json.dumps(as_data(found)))) == found


@pytest.mark.parametrize("inductance", [None, 1e-6])
@pytest.mark.parametrize("capacitance", [None, 220e-6])
def test_its_figures_have_units_as_all_others(inductance: float | None, capacitance: float | None) -> None:
    path = SurgePath(1.2, 67.04e-3, inductance, capacitance, response=500e-6)
    bound = path.largest(58.26)
    assert bound is not None
    units = {figure.name: figure.unit for figure in figures_of(bound.words)}
    assert units
    assert set(units.values()) <= set(DIMENSION_NAMES)
    assert units.get("resistance", "ohm") == "ohm"
