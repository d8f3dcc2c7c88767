"""How long a rise takes that asks for more than the current limit: against an integrator of our own."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests.truth.small import fed_by, write

from railwright.job import Job


def played(capacitance: float, ohms: float, amperes: float, limit: float, rate: float, volts: float) -> float:
    """Time until a capacitor, with the output's 150 µF, is at `volts` [s]: the load is a resistor beside a
    constant current, which fades below 5 V; no faster than the rate, nor than what the limit leaves.
    """
    time = voltage = 0.0
    step = volts / rate / 2_000
    while voltage < volts:
        load = voltage / ohms + amperes * min(1.0, voltage / 5.0)
        voltage += step * min(rate, (limit - load) / (capacitance + 150e-6))
        time += step
    return time


@pytest.mark.parametrize("rate", [250.0, 330.0, 500.0, 1500.0, 8000.0])
@pytest.mark.parametrize(
    ("ohms", "amperes", "farads", "limit"), [(6.0, 0.3, 2.2e-3, 2.95), (40.0, 0.0, 4.7e-3, 1.4)]
)
def test_a_rise_takes_as_long_as_its_rate_and_the_limit_let_it(
    rate: float, ohms: float, amperes: float, farads: float, limit: float, tmp_path: Path
) -> None:
    current: list[Any] = [{"constant_current": {"current": f"{amperes} A", "compliance": "5 V"}}] * (
        amperes > 0
    )
    load = [
        {"capacitor": {"capacitance": f"{farads} F"}},
        {"resistor": {"resistance": f"{ohms} ohm"}},
        *current,
    ]
    given = {**fed_by(*load, nominal="12 V"), "current": {"at_most": "3 A"}}
    procedure = {
        "hook_up": {"main": {"from": "s.1", "lead": "pair", "sense": "at terminals"}},
        "limits": {"main": {"current_limit": f"{limit} A", "at_limit": "regulate", "ovp": "29 V"}},
        "steps": [{"power_up": {"order": ["main"], "rise": f"{rate} V/s", "settle": "1 s"}, "name": "up"}],
        "record": {"every": "10 ms"},
    }
    job = Job.open(write(tmp_path, {"main": given}, procedure))
    notes = [each for each in job.check(static=True).findings if each.rule == "ramp-in-limit"]
    asked = (farads + 150e-6) * rate + 12.0 / ohms + amperes
    assert bool(notes) == (asked > limit)
    for note in notes:
        told = {figure.name: figure.value for figure in note.figures}
        assert told["needed"] == pytest.approx(asked, rel=0.03)
        assert told["rise_time"] == pytest.approx(played(farads, ohms, amperes, limit, rate, 12.0), rel=5e-3)
        assert told["rise_time"] >= 12.0 / rate
