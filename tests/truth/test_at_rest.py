"""A battery behind the connector holds the outputs' capacitors at a voltage before anything is on.

The truth is a divider in closed form: V_oc R_b / (R_b + R) across the bleeder R_b = 1 kΩ of each output, with
R of the battery, its lead's few 10 mΩ left out (common practice, no source).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from benchmarks.disagreement_hunt.playing import Played
from tests.truth.test_played_as_rehearsed import RESISTOR, played

from railwright.circuit.case import fixed
from railwright.physics.player import CONNECTED
from railwright.rehearsal.ensemble import plan_ensemble, play_values
from railwright.rehearsal.rehearse import rehearse

BLEEDER = 1000.0


def with_battery(folder: Path, volts: float, ohms: float, more: str = "", other: str = "") -> Played:
    """The small bench with a battery in the place of its resistor, played in every place."""
    battery = (
        f"{{battery: {{open_circuit_voltage: {volts} V, series_resistance: {ohms} ohm, capacity: 400 C, "
        f"state_of_charge: 50 %{more}}}}}{other}"
    )
    return played(folder, "  - hold: 200 ms\n    name: steady\n", edits=(("device.yaml", RESISTOR, battery),))


@pytest.mark.parametrize(("volts", "ohms"), [(11.0, 10.0), (8.0, 100.0), (11.5, 500.0), (3.0, 40.0)])
def test_before_power_up_the_outputs_stand_at_what_the_battery_holds(
    volts: float, ohms: float, tmp_path: Path
) -> None:
    """The rehearsal began with 0 V at the connector."""
    found = with_battery(tmp_path / "p", volts, ohms)
    held = volts * BLEEDER / (BLEEDER + ohms)
    for record in (found.rehearsed.record, found.truth):
        traces = record.traces["in1"]
        at = np.interp(-1e-4 if traces.time[0] < -1e-4 else 0.0, traces.time, traces.columns["voltage"])
        assert at == pytest.approx(held, abs=0.01 + 0.002 * held)


@pytest.mark.parametrize("drop", [0.3, 0.7])
def test_a_battery_behind_a_diode_holds_nothing(drop: float, tmp_path: Path) -> None:
    found = with_battery(tmp_path / "p", 11.0, 10.0, f", diode_drop: {drop} V")
    for record in (found.rehearsed.record, found.truth):
        traces = record.traces["in1"]
        assert abs(np.interp(0.0, traces.time, traces.columns["voltage"])) < 0.01


@pytest.mark.parametrize("ohms", [10.0, 100.0])
def test_another_load_shares_what_the_battery_holds(ohms: float, tmp_path: Path) -> None:
    """A resistor of 40 Ω beside it: V_oc · (40 Ω ∥ 1 kΩ) / (R + 40 Ω ∥ 1 kΩ)."""
    found = with_battery(tmp_path / "p", 11.0, ohms, other=f", {RESISTOR}")
    across = 1.0 / (1.0 / BLEEDER + 1.0 / 40.0)
    for record in (found.rehearsed.record, found.truth):
        traces = record.traces["in1"]
        at = np.interp(-1e-4 if traces.time[0] < -1e-4 else 0.0, traces.time, traces.columns["voltage"])
        assert at == pytest.approx(11.0 * across / (ohms + across), rel=0.005)


def test_each_case_of_an_ensemble_begins_at_rest_too(tmp_path: Path) -> None:
    """The voltage that its battery holds is another in every case: each is what its rehearsal gives."""
    found = with_battery(tmp_path / "p", 11.0, 10.0)
    feeds = found.check.settings.set_points
    plan = plan_ensemble(found.documents, feeds, 16, seed=3, timeline=found.check.plan.played)
    values = plan.design.values(0)
    measures, failed = play_values(plan, values)
    assert not failed.any()
    for case in (0, 5, 15):
        chosen = fixed(dict(zip(plan.design.names, values[case].tolist(), strict=True)))
        alone = rehearse(found.documents, feeds, chosen, found.check.plan.played).inputs["in1"]
        for measure in ("peak_current", "inrush_charge", "settled_voltage"):
            assert measures["in1"][measure][case] == pytest.approx(getattr(alone, measure), rel=1e-5)


def test_a_device_was_connected_long_enough_for_the_bench_to_rest() -> None:
    """1 mF behind 1 kΩ, the slowest here: 1 s, and ten of them leave 5e-5 of the way."""
    assert np.exp(-CONNECTED / 1.0) < 1e-4
