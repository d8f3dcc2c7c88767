"""Shapes played by outputs' own point lists, on twins in another process, in real time."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.running.test_with_twin import DEMO, set_points, short
from tests.said import says

from railwright.documents.loader import Documents, load_documents
from railwright.documents.procedure import Procedure
from railwright.quantities import parse_interval
from railwright.records.ended import Ended
from railwright.records.stored import open_run
from railwright.running.outcome import RunOutcome
from railwright.running.runner import run
from railwright.twin.launcher import TwinBench

pytestmark = pytest.mark.alone

UP = {"name": "up", "power_up": {"order": ["main", "transducer"], "rise": "2 V/ms", "settle": "300 ms"}}
DOWN = {"power_down": {"order": ["transducer", "main"], "gap": "20 ms"}}
STEPPED = {
    "name": "stepped",
    "shape": {
        "input": "main",
        "segments": [
            {"step_to": "9 V"},
            {"hold": "160 ms"},
            {"step_to": "14 V"},
            {"hold": "15 ms"},
            {"step_to": "10 V"},
            {"hold": "160 ms"},
            {"step_to": "12 V"},
            {"hold": "160 ms"},
        ],
    },
}
RIPPLE = {
    "name": "ripple",
    "shape": {
        "input": "main",
        "segments": [
            {
                "ripple": "trapezoid",
                "edges": "100 ms",
                "peak_to_peak": "4 V",
                "frequency": "5 Hz",
                "for": "600 ms",
            }
        ],
    },
}


def documents_with(
    *steps: dict[str, Any], slew: bool = True, stop_when: list[Any] | None = None
) -> Documents:
    """The demo's bench with a faster list, and a procedure of these steps."""
    given = short(load_documents(DEMO))
    data = given.procedure.model_dump(by_alias=True, exclude={"steps", "hook_up", "limits"})
    supplies = dict(given.bench.supplies)
    left = supplies["left"]
    output = left.outputs["1"]
    assert output.points is not None
    points = output.points.model_copy(update={"dwell": parse_interval("1 ms .. 300 s", "s")})
    changes = {"points": points} | ({} if slew else {"slew": None})
    output = output.model_copy(update=changes)
    supplies["left"] = left.model_copy(update={"outputs": {**left.outputs, "1": output}})
    fresh = Procedure.model_validate(
        {
            **{key: data[key] for key in ("procedure", "device", "bench")},
            "record": {"every": "10 ms"},
            "hook_up": {
                n: {"from": h.source, "lead": h.lead, "sense": h.sense}
                for n, h in given.procedure.hook_up.items()
            },
            "limits": {
                n: {"current_limit": "1 A", "at_limit": "regulate", "ovp": "18 V"}
                for n in given.procedure.limits
            },
            "steps": [*steps],
            "stop_when": stop_when or [],
        }
    )
    return replace(given, procedure=fresh, bench=given.bench.model_copy(update={"supplies": supplies}))


def played(documents: Documents, folder: Path) -> RunOutcome:
    with TwinBench(documents.bench, documents.device, documents.procedure, seed=5) as twins:
        told = {"unit": "TG-1", "operator": "O", "folder": folder}
        return run(replace(documents, bench=twins.bench), set_points(0.04), **told)


def test_two_lists_one_after_the_other_are_played_and_recorded(tmp_path: Path) -> None:
    hold = {"hold": "300 ms"}
    outcome = played(documents_with(UP, STEPPED, hold, RIPPLE, hold, DOWN, slew=False), tmp_path / "run")
    assert (outcome.ended, outcome.cause, outcome.cautions) == (Ended.COMPLETED, "", ())
    told = [event.detail for event in outcome.record.events if event.what == "point list starts"]
    assert len(told) == 2
    assert says(told[0], "points", "steps")
    assert says(told[1], "points", "lines")
    noted = [note for note in outcome.deviations if "own point list" in note]
    assert [note.partition(":")[0] for note in noted] == ["stepped", "ripple"]
    main = outcome.record.traces["main"]
    stepped = outcome.record.span("stepped")
    # A reading averages 8 ms and ends 3 ms before it is handed over; levels are looked at where they stand.
    for begin, end, level in ((0.04, 0.155, 9.0), (0.22, 0.33, 10.0), (0.38, 0.49, 12.0)):
        readings = main.between(stepped.start + begin, stepped.start + end).columns["voltage"]
        assert readings.size
        assert readings == pytest.approx(level, abs=0.05)
    ripple = outcome.record.span("ripple")
    swing = main.between(ripple.start, ripple.end)
    # A triangle of 5 Hz from 10 V to 14 V; its tips are cut by the reading's aperture.
    assert swing.columns["voltage"].max() == pytest.approx(14.0, abs=0.4)
    assert swing.columns["voltage"].min() == pytest.approx(10.0, abs=0.4)
    since = swing.time - ripple.start - 0.004
    triangle = 12.0 + 2.0 * np.interp(since % 0.2, [0.0, 0.05, 0.15, 0.2], [0.0, 1.0, -1.0, 0.0])
    apart = np.abs(swing.columns["voltage"] - triangle)[2:-2]
    # At 40 V/s a reading is up to 0.4 V apart by its age, an update of 10 ms at most, alike in all of a run;
    # one that the system hands over 25 ms late is 1 V apart: a few may be, not many.
    assert np.median(apart) < 0.45
    assert np.sort(apart)[-3] < 1.2
    lines = [json.loads(line) for line in (tmp_path / "run" / "log.ndjson").read_text().splitlines()]
    lists = [line for line in lines if line["kind"] == "point list"]
    assert [line["step"] for line in lists] == ["stepped", "ripple"]
    assert [line["what"] for line in lines if line["kind"] == "action" and line["what"] == "play"] == [
        "play"
    ] * 2
    assert open_run(tmp_path / "run").differences.sound


def test_a_stop_condition_ends_a_list_with_the_output(tmp_path: Path) -> None:
    long = {**STEPPED, "shape": {**STEPPED["shape"], "repeat": 20}}
    stop = [{"input": "main", "voltage_above": "13.5 V"}]
    outcome = played(documents_with(UP, long, DOWN, stop_when=stop), tmp_path / "run")
    assert outcome.ended is Ended.STOPPED
    assert any(event.what == "point list starts" for event in outcome.record.events)
    assert all(off.verified for off in outcome.switched_off.values())
    assert outcome.cautions == ()
    off = next(
        event.time for event in outcome.record.events if (event.subject, event.what) == ("main", "off sent")
    )
    after = outcome.record.traces["main"].between(off + 0.1, off + 1.0).columns["voltage"]
    assert (np.diff(after) < 0.05).all()
