"""What a fault takes beyond normal operation, and what a device with a source of its own gives into it.

Expected values are closed forms of the smallest circuits, worked out here.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.said import says
from tests.truth.small import fed_by, supply, write

from railwright.job import Job
from railwright.rehearsal.faults import FaultResult, FaultStudy, _Pins, energy_beyond, rehearse_faults

OHMS = 24.0
OPEN, INNER = 11.5, 0.15
"""Open-circuit voltage [V] and resistance [Ω] of the battery."""
SHORT = 10e-3
DROP, DIODE = 0.7, 0.05
"""The diode across an output that is off, as it is assumed."""
LEAD = 2 * 1.2 * 1.7241e-8 * 1.0 / 0.5176e-6 + 0.01
"""Loop of 1.2 m of AWG 20 at 20 °C [Ω]: 1.7241e-8 Ω·m (IEC 60028, from memory), 0.5176 mm² (ASTM B258), and
10 mΩ of contacts.
"""
RESISTOR = {"resistor": {"resistance": f"{OHMS} ohm"}}


def battery(**more: str) -> dict[str, Any]:
    given = {
        "open_circuit_voltage": f"{OPEN} V",
        "series_resistance": f"{INNER} ohm",
        "capacity": "20000 C",
        "state_of_charge": "50 %",
    }
    return {"battery": {**given, **more}}


def study(
    folder: Path,
    *load: Any,
    nominal: str = "24 V",
    sense: str = "at load",
    output: dict[str, Any] | None = None,
    fixture: dict[str, Any] | None = None,
    **power_up: str,
) -> FaultStudy:
    hook_up = {"from": "s.1", "lead": "pair", "sense": sense}
    if fixture is not None:
        hook_up["fixture"] = "part"
    procedure = {
        "hook_up": {"main": hook_up},
        "limits": {
            "main": {"current_limit": "2 A", "at_limit": "regulate", "purpose": "current", "ovp": "28 V"}
        },
        "steps": [{"power_up": {"order": ["main"], "settle": "100 ms", **power_up}, "name": "up"}],
        "record": {"every": "10 ms"},
    }
    given = {"current": {"steady": "0 A .. 1.2 A", "at_most": "6 A"}}
    whole = supply({"sink": "0 A", "sense": {"compensates": "2 V", "open": "falls back"}, **(output or {})})
    fixtures = {} if fixture is None else {"fixtures": {"part": fixture}}
    path = write(
        folder, {"main": fed_by(*load, nominal=nominal, **given)}, procedure, {"s": whole}, **fixtures
    )
    job = Job.open(path)
    return rehearse_faults(job.documents, job.check().settings.set_points)


def of(found: FaultStudy, fault: str) -> FaultResult:
    (result,) = [each for each in found.results if each.fault == fault]
    return result


@pytest.mark.parametrize("rise", [{}, {"rise": "0.24 V/ms"}, {"rise": "0.12 V/ms"}, {"rise": "24 V/s"}])
@pytest.mark.parametrize("fault", ["supply_out", "sense_open"])
def test_less_than_usual_is_no_energy_beyond_however_it_was_powered_up(
    fault: str, rise: dict[str, str], tmp_path: Path
) -> None:
    assert of(study(tmp_path, RESISTOR, **rise), fault).energy == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("rise", ["0.24 V/ms", "24 V/s"])
def test_a_voltage_that_is_mistyped_takes_more_only_from_where_it_passes_the_usual(
    rise: str, tmp_path: Path
) -> None:
    """A ramp that goes on from 24 V to the OVP at 28 V, and what the output's capacitor then still gives."""
    rate = 240.0 if "ms" in rise else 24.0
    result = of(study(tmp_path, RESISTOR, rise=rise), "voltage_mistyped")
    top = 28.0 / (1.0 + LEAD / OHMS)  # the OVP sees the terminals
    beyond = ((top**3 - 24.0**3) / 3.0 - 24.0**2 * (top - 24.0)) / (OHMS * rate)
    held = 150e-6
    top += rate * 200e-6  # until the OVP has responded
    beyond += 200e-6 * (top**2 - 24.0**2) / OHMS
    left = held / 2.0 * (top**2 - 24.0**2) - 24.0**2 / OHMS * held * OHMS * math.log(top / 24.0)
    assert result.energy == pytest.approx(beyond + left, rel=0.02)


@pytest.mark.parametrize("before", [0.0, 1.0, 40.0])
@pytest.mark.parametrize("kink", [0.2, 0.5, 0.9])
def test_what_was_before_the_fault_does_not_count_and_crossings_are_exact(before: float, kink: float) -> None:
    """1 V and 0 to 2 A within 1 s, beside 1 V and 1 A: ∫ max(0, 2 t - 1) dt = 0.25 J."""
    now = _Pins(np.array([before, before + 1.0]), np.ones(2), np.array([0.0, 2.0]), np.zeros(2))
    at = np.array([0.0, 0.7 * before, before + kink, before + 1.0])
    usual = _Pins(np.unique(at), np.ones(np.unique(at).size), np.ones(np.unique(at).size), np.zeros(4))
    assert energy_beyond(now, usual) == pytest.approx(0.25)


@pytest.mark.parametrize(("usual", "truth"), [(0.0, 1 / 3), (0.25, 1 / 3 - 0.25 + 1 / 12), (1.0, 0.0)])
def test_a_ramp_of_both_is_a_parabola(usual: float, truth: float) -> None:
    """t² W beside a constant power: ∫ max(0, t² - c) dt from 0 to 1 = 1/3 - c + 2/3 c^1.5."""
    ramp, at = np.array([0.0, 1.0]), np.array([0.0, 1.0])
    steady = _Pins(at, np.ones(2), np.full(2, usual), np.zeros(2))
    assert energy_beyond(_Pins(at, ramp, ramp, np.zeros(2)), steady) == pytest.approx(truth)


def test_a_jump_counts_where_it_is() -> None:
    """1 W for 1 s, then 3 W at once for 1 s, beside 2 W: 1 J, not what a slope between them would give."""
    at = np.array([0.0, 1.0, 1.0, 2.0])
    pins = _Pins(at, np.ones(4), np.array([1.0, 1.0, 3.0, 3.0]), np.zeros(4))
    usual = _Pins(np.array([0.0, 2.0]), np.ones(2), np.full(2, 2.0), np.zeros(2))
    assert energy_beyond(pins, usual) == pytest.approx(1.0)


@pytest.mark.parametrize("sense", ["at load", "at terminals"])
def test_a_battery_that_goes_on_into_a_short_is_not_contained(sense: str, tmp_path: Path) -> None:
    found = study(tmp_path, battery(), nominal="12 V", sense=sense)
    short = of(found, "short")
    given = OPEN / (INNER + SHORT) - 2.0 * SHORT / (
        INNER + SHORT
    )  # less what the supply feeds the short with
    assert short.fed_back == pytest.approx(given, rel=5e-3)
    assert short.contained is False
    assert says(short.why, "source", "A")
    assert says(short.remedy, "fuse", "source")
    assert of(found, "limit_mistyped").fed_back < 0.1  # the output's capacitor hung on it long before
    for fault in ("supply_out", "ovp_mistyped"):  # its bleeder takes what it takes whenever it is off
        assert of(found, fault).contained is True


@pytest.mark.parametrize("sink", ["0 A", "1.5 A"])
def test_a_battery_reversed_drives_current_out_of_itself_through_the_diode_of_the_output(
    sink: str, tmp_path: Path
) -> None:
    """Not what charges the connector's own 10 nF within 1.5 ns, which would be 76.7 A."""
    found = study(tmp_path, battery(), nominal="12 V", output={"sink": sink})
    result = of(found, "reversed")
    through = (OPEN - DROP) / (INNER + DIODE + LEAD)
    assert result.lead.peak == pytest.approx(result.fed_back, rel=0.01)
    assert result.fed_back < 1.2 * OPEN / (INNER + LEAD)
    assert result.lead.after == pytest.approx(through, rel=0.2)
    assert result.peak_current == pytest.approx(0.0, abs=0.05)
    assert result.contained is False
    assert says(result.why, "own source")
    assumed = [
        each for each in found.assumptions if each.subject == "s.1" and says(each.text, "0.7 V", "50 mΩ")
    ]
    assert len(assumed) == 1


@pytest.mark.parametrize(
    ("fixture", "endless"),
    [
        ({"diode": {"drop": "0.5 V", "resistance": "10 mohm"}}, False),
        (
            {"fuse": {"curve": [{"current": "4 A", "time": "50 ms"}, {"current": "20 A", "time": "5 ms"}]}},
            False,
        ),
        ({"switch": {"starts": "closed", "resistance": "100 mohm"}}, True),
    ],
)
def test_what_lies_in_the_lead_may_end_it(fixture: dict[str, Any], endless: bool, tmp_path: Path) -> None:
    result = of(study(tmp_path, battery(), nominal="12 V", sense="at terminals", fixture=fixture), "reversed")
    assert says(result.why, "own source") is endless
    assert result.lowest_voltage > -0.1  # the battery holds its own pins, whatever blocks in the lead


@pytest.mark.parametrize(
    "load",
    [
        battery(diode_drop="0.4 V"),
        {"capacitor": {"capacitance": "1000 uF", "esr": "50 mohm"}},
        RESISTOR,
    ],
)
def test_what_has_no_source_of_its_own_is_contained_in_a_short(load: Any, tmp_path: Path) -> None:
    result = of(study(tmp_path, load, nominal="12 V"), "short")
    assert result.contained is True
    if "capacitor" in load:
        assert result.fed_back > 100.0


def test_a_resistor_reversed_takes_its_current_and_gives_none(tmp_path: Path) -> None:
    found = study(tmp_path, RESISTOR)
    result = of(found, "reversed")
    assert result.peak_current == pytest.approx(24.0 / OHMS, rel=0.01)
    assert result.fed_back == 0.0
    assert math.isclose(result.lowest_voltage, -24.0, rel_tol=0.01)
