"""How late a set point may come of a step in which several inputs are played: a tenth of the shortest segment
of all of them, as the run is judged, or 2 ms.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests.truth.small import fed_by, supply, write

from railwright.job import Job
from railwright.settings.findings import Finding

LIST = {"at_most": 100, "dwell": "1 ms .. 300 s", "between": ["step"]}


def findings(
    folder: Path, slow: float, fast: float, exchange: float, other: float = 1.0, listed: bool = False
) -> tuple[Finding, ...]:
    """`slow` and `fast`: segments of two inputs on supplies of their own; exchange, other: of those, all in
    milliseconds. listed: the fast one's output has a point list.
    """

    def moved(apart: float, first: float) -> dict[str, Any]:
        turns = int(400 / apart)
        levels = [f"{11 + number % 2} V" for number in range(turns)]
        moves = [part for level in levels for part in ({"step_to": level}, {"hold": f"{apart} ms"})]
        return {"segments": [{"hold": f"{first} ms"}, *moves]}

    hook_up = {
        name: {"from": f"{name}.1", "lead": "pair", "sense": "at terminals"} for name in ("slow", "fast")
    }
    limits = {"current_limit": "2 A", "at_limit": "regulate", "ovp": "20 V"}
    procedure = {
        "hook_up": hook_up,
        "limits": dict.fromkeys(hook_up, limits),
        "steps": [
            {"power_up": {"order": ["slow", "fast"], "settle": "100 ms"}, "name": "up"},
            # Their set points do not come at the same time.
            {"shape": {"inputs": {"slow": moved(slow, 150 + fast / 2), "fast": moved(fast, 150)}},
             "name": "moved"},
        ],
        "record": {"every": "20 ms"},
        "requires": [
            {"name": "level", "measure": "mean_voltage", "of": "slow", "during": "moved", "at_most": "13 V"}
        ],
    }  # fmt: skip
    supplies = {
        "slow": supply({}, exchange=f"{exchange} ms"),
        "fast": supply({"points": LIST} if listed else {}, port=5998, exchange=f"{other} ms"),
    }
    loads = {name: fed_by({"resistor": {"resistance": "50 ohm"}}, nominal="12 V") for name in hook_up}
    return Job.open(write(folder, loads, procedure, supplies)).check(static=True).findings


@pytest.mark.parametrize(
    ("slow", "fast", "exchange"), [(100, 20, 5), (100, 40, 5), (80, 20, 3), (100, 60, 5), (80, 40, 3)]
)
def test_the_shortest_segment_of_all_inputs_permits_it(
    slow: float, fast: float, exchange: float, tmp_path: Path
) -> None:
    """The slow input's own segments would permit it each time."""
    told = {
        (each.rule, each.about): {figure.name: figure.value for figure in each.figures}
        for each in findings(tmp_path, slow, fast, exchange)
    }
    permitted = max(2.0, 0.1 * fast)
    late = told.get(("readings-between-set-points", "slow"))
    assert (late is not None) == (exchange > permitted)
    if late is not None:
        assert late["permitted"] == pytest.approx(permitted * 1e-3)
        assert late["closest"] == pytest.approx(slow * 1e-3)
        assert late["late"] == pytest.approx(exchange * 1e-3)


def test_what_a_point_list_plays_does_not_count(tmp_path: Path) -> None:
    rules = {(each.rule, each.about) for each in findings(tmp_path, 100, 20, 5, other=30, listed=True)}
    assert ("shape-by-list", "fast") in rules
    assert ("readings-between-set-points", "slow") not in rules
