"""What a reversed lead, and what drives a load below 0 V, does: common practice, no source.

A resistor or a lamp has no polarity: reversed it takes what it takes anyway. A coil that is switched off
drives its input below 0 V unless a diode takes its current; of a diode that no document describes nobody
knows whether it is there and bears the current, so that nothing counts as contained for its sake.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests.truth.small import fed_by, write

from railwright.job import Job
from railwright.rehearsal.faults import FaultResult, rehearse_faults

RESISTOR = {"resistor": {"resistance": "20 ohm"}}
LAMP = {"filament_lamp": {"rated_voltage": "24 V", "rated_current": "0.4 A"}}
CAPACITOR = {"capacitor": {"capacitance": "100 uF", "esr": "50 mohm"}}
COIL = {"resistance": "60 ohm", "inductance": "200 mH"}


def coil(**more: str) -> dict[str, Any]:
    return {"coil": {**COIL, **more}}


def faults(folder: Path, *load: Any, **more: Any) -> dict[str, FaultResult]:
    procedure = {
        "hook_up": {"main": {"from": "s.1", "lead": "pair", "sense": "at terminals"}},
        "limits": {
            "main": {"current_limit": "2.2 A", "at_limit": "trip", "trip_delay": "50 ms", "ovp": "30 V"}
        },
        "steps": [{"power_up": {"order": ["main"], "rise": "1 V/ms", "settle": "300 ms"}, "name": "up"}],
        "record": {"every": "10 ms"},
    }
    given = {"current": {"steady": "0 A .. 1.5 A", "at_most": "4 A"}, **more}
    path = write(folder, {"main": fed_by(*load, **given)}, procedure)
    job = Job.open(path)
    study = rehearse_faults(job.documents, job.check().settings.set_points)
    return {result.fault: result for result in study.results}


@pytest.mark.parametrize(
    ("load", "more", "contained"),
    [
        ([RESISTOR], {}, True),
        ([RESISTOR, {"resistor": {"resistance": "100 ohm"}}], {}, True),
        ([LAMP], {}, True),
        # Reversed by 24 V, it withstands no more than 20 V of that.
        ([RESISTOR], {"withstands": [{"voltage": "38 V"}, {"reverse": "20 V"}]}, False),
        ([RESISTOR], {"withstands": None}, True),
        # An electrolytic capacitor beside it has a polarity.
        ([RESISTOR, CAPACITOR], {}, False),
        ([CAPACITOR], {"withstands": None}, None),
    ],
)
def test_what_has_no_polarity_may_be_reversed(
    load: list[Any], more: dict[str, Any], contained: bool | None, tmp_path: Path
) -> None:
    assert faults(tmp_path, *load, **more)["reversed"].contained is contained


@pytest.mark.parametrize("fault", ["supply_out", "short"])
@pytest.mark.parametrize(
    ("load", "contained"),
    [
        ([coil()], None),
        ([coil(diode_drop="0.8 V")], None),
        ([coil(diode_resistance="100 mohm")], None),
        ([coil(diode_drop="0.8 V", diode_resistance="100 mohm")], True),
        ([RESISTOR], True),
    ],
)
def test_an_assumed_diode_contains_nothing(
    load: list[Any], contained: bool | None, fault: str, tmp_path: Path
) -> None:
    if fault == "short":  # its winding goes on into the short: nothing drives the input below 0 V
        contained = True
    assert faults(tmp_path, *load)[fault].contained is contained


@pytest.mark.parametrize(
    ("load", "contained"),
    [
        ([coil()], None),
        ([coil(diode_resistance="30 mohm")], None),
        ([coil(diode_drop="0.6 V", diode_resistance="30 mohm")], True),
        ([coil(), RESISTOR], None),
    ],
)
def test_a_coil_reversed_hangs_on_its_diode(load: list[Any], contained: bool | None, tmp_path: Path) -> None:
    result = faults(tmp_path, *load)["reversed"]
    assert result.contained is contained, result.why
    if contained is None:
        assert "diode_" in result.why
