"""A load whose current limit pulls its input down stops, and comes back: what charges its capacitor meanwhile
may hide that in every reading. The truth is how often it stops in the rehearsal that is read.
"""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from railwright.evaluation.evaluate import evaluate
from railwright.job import Job
from railwright.rehearsal.read import Phase, as_read
from railwright.rehearsal.rehearse import rehearse

from .small import fed_by, supply, write

READ = {
    # What it draws, its soft start, the input's capacitor, the limit, the rate of rise, and how it is read.
    "one stop between two readings": ("40.8 W", "24 ms", "322 uF", "1.25 A", "139 V/s", "20 ms", "16 ms"),
    "a larger capacitor": ("40.8 W", "24 ms", "400 uF", "1.25 A", "139 V/s", "20 ms", "16 ms"),
    "a smaller one": ("40.8 W", "24 ms", "250 uF", "1.22 A", "139 V/s", "20 ms", "16 ms"),
    "faster readings": ("40.8 W", "12 ms", "150 uF", "1.2 A", "250 V/s", "10 ms", "8 ms"),
    "it holds": ("40.8 W", "24 ms", "250 uF", "1.27 A", "139 V/s", "20 ms", "16 ms"),
    "slow readings": ("35 W", "60 ms", "1 mF", "1.1 A", "60 V/s", "50 ms", "45 ms"),
}
DRAWN = 60


@pytest.mark.parametrize("given", READ.values(), ids=READ)
def test_stops_that_its_charging_hides_are_not_denied(given: tuple[str, ...], tmp_path: Path) -> None:
    power, soft, farads, limit, rise, update, aperture = given
    converter = {"output_power": power, "efficiency": "85 %", "starts_at": "32 V", "stops_at": "28.4 V"}
    device = fed_by(
        {"converter": {**converter, "soft_start": soft}},
        {"capacitor": {"capacitance": farads, "esr": "50 mohm"}},
        nominal="48 V",
        operating="36 V .. 62 V",
        withstands=[{"voltage": "80 V"}],
    )
    accuracy = {"of_value": "0.05 %", "offset": "8 mV", "resolution": "1 mV", "noise": "1 mV"}
    current = {"of_value": "0.1 %", "offset": "4.7 mA", "resolution": "0.1 mA", "noise": "0.1 mA"}
    timing = {"update": update, "aperture": aperture, "latency": "3 ms"}
    output = {
        "reading": {"voltage": accuracy, "current": current, **timing},
        "voltage": "0 V .. 58 V",
        "current": "0 A .. 4.7 A",
        "power": "200 W",
        "ovp": {"level": "1 V .. 64 V", "accuracy": "100 mV", "response": "200 us", "at": "terminals"},
        "slew": "1 V/s .. 1 V/ms",
        "limit_response": "5 ms",
    }
    procedure = {
        "hook_up": {"in": {"from": "s.1", "lead": "pair", "sense": "at terminals"}},
        "limits": {"in": {"current_limit": limit, "at_limit": "regulate", "ovp": "60 V"}},
        "steps": [
            {"power_up": {"order": ["in"], "rise": rise, "settle": "600 ms"}, "name": "up"},
            {"hold": "100 ms"},
            {"power_down": {"order": ["in"]}},
        ],
        "record": {"every": "5 ms"},
        "requires": [{"name": "up", "measure": "restarts", "of": "in", "during": "up", "at_most": 9}],
    }
    path = write(tmp_path, {"in": device}, procedure, {"s": supply(output)})
    check = Job.open(path).settle()
    documents, set_points, plan = check.checked.documents, check.settings.set_points, check.plan
    played = rehearse(documents, set_points, timeline=plan.played).record
    true = evaluate(documents, set_points, played).results[0].measured
    assert true is not None
    dice, denied, sure = Random(3), 0, 0
    for _ in range(DRAWN):
        run = as_read(
            played, documents, set_points, plan.timeline, {"in": 5e-3}, Phase(dice.random(), dice.random())
        )
        said = evaluate(documents, set_points, run).results[0].measured
        if said is not None and not said.unseen:
            sure += 1
            denied += said.value != true.value
    assert denied == 0
    # Where it does not stop readings still tell so.
    assert true.value >= 1.0 or sure == DRAWN
