"""Of outputs in parallel whose limits trip, the one set a little higher carries the whole current.

It trips where that is more than its own limit for longer than its delay (common practice, no source: voltage
sources of little resistance do not share, and one that sinks takes in what the other gives beyond the load).
The truth is Ohm's law, and what happens behind simulated supplies whose set points differ by as much as their
accuracy lets them.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.truth.saying import played
from tests.truth.small import fed_by, supply, write
from tests.truth.table import TruthTable

from railwright.job import Job

ACCURACY = {
    "voltage": {"of_value": "0.1 %", "offset": "10 mV", "resolution": "1 mV"},
    "current": {"of_value": "0.1 %", "offset": "1 mA", "resolution": "0.1 mA"},
}


def job(folder: Path, ohms: float, limit: float, at_limit: str, sink: str | None, sense: str) -> Path:
    rows = [{"programming": ACCURACY, "sink": sink}] * 2
    trips = {"trip_delay": "40 ms"} if at_limit == "trip" else {}
    given = {**fed_by({"resistor": {"resistance": f"{ohms} ohm"}}, nominal="12 V")}
    given["current"] = {"steady": "0 A .. 5 A", "at_most": "6 A"}
    return write(
        folder,
        {"main": given},
        {
            "hook_up": {"main": {"from": {"parallel": ["s.1", "s.2"]}, "lead": "pair", "sense": sense}},
            "limits": {"main": {"current_limit": f"{limit} A", "at_limit": at_limit, "ovp": "16 V", **trips}},
            "steps": [
                {"power_up": {"order": ["main"], "rise": "1 V/ms", "settle": "300 ms"}, "name": "up"},
                {"hold": "500 ms", "name": "steady"},
                {"power_down": {"order": ["main"]}},
            ],
            "record": {"every": "10 ms"},
        },
        {"s": supply(*rows)},
    )


@pytest.mark.case("parallel-trip")
@pytest.mark.parametrize("sense", ["at terminals", "at load"])
@pytest.mark.parametrize(
    ("ohms", "limit", "at_limit", "sink", "trips"),
    [
        (12.0, 1.6, "trip", None, True),  # 1 A, 0.8 A each
        (6.0, 3.0, "trip", None, True),  # 2 A, 1.5 A each
        (12.0, 3.0, "trip", None, False),  # 1 A, 1.5 A each
        (12.0, 3.0, "trip", "1.5 A", True),  # the other takes in what it can get
        (12.0, 3.0, "trip", "0.2 A", False),  # 1.2 A in all
        (12.0, 1.6, "regulate", None, False),
    ],
)
def test_the_higher_of_two_outputs_trips_alone(
    ohms: float,
    limit: float,
    at_limit: str,
    sink: str | None,
    trips: bool,
    sense: str,
    tmp_path: Path,
    truth_table: TruthTable,
) -> None:
    path = job(tmp_path, ohms, limit, at_limit, sink, sense)
    taken = float(sink.removesuffix(" A")) if sink else 0.0
    assert (12.0 / ohms + taken > limit / 2 and at_limit == "trip") is trips
    said = any(each.rule in {"parallel-trip", "trips-rehearsed"} for each in Job.open(path).check().findings)
    with played(path, seed=5) as (network, _):
        happens = any(event.kind.trip for event in network.truth().events)
    truth_table.compare("trips", trips, {"check": said, "behind the supplies": happens})
