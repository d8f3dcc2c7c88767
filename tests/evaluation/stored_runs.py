"""Run folders as a run leaves them, made without one: constant readings, ended where a test wants it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
from tests.running.small import PROCEDURE, SET_POINTS, write

from railwright.documents.loader import load_documents
from railwright.plan.timeline import build_timeline
from railwright.records.manifest import write_json, write_manifest, write_together
from railwright.records.names import readings_file
from railwright.records.readings import ParquetRows
from railwright.running.folder import copies_of
from railwright.settings.data import as_data
from railwright.settings.settle import Settings

EVERY = 0.01
HEAD = PROCEDURE[: PROCEDURE.index("steps:")]
STEPS = """\
steps:
  - power_up: {order: [main, aux], gap: 50 ms, rise: 2 V/ms, settle: 500 ms}
    name: first power
  - hold: 1 s
    name: steady
  - sweep: {input: main, from: 9 V, to: 12 V, points: 4, dwell: 250 ms}
    name: sweep
record: {every: 10 ms}
"""
REQUIRES = """\
requires:
  - {name: one, measure: mean_voltage, of: main, during: first power, at_least: 11 V}
  - {name: two, measure: mean_current, of: main, during: steady, at_most: 1 A}
  - {name: three, measure: mean_current, of: main, during: sweep, at_most: 1 A}
"""
OFF = {"verified": True, "threshold": 1.0, "fell_after": 0.02, "residual": 0.01, "confirmed": True}
"""What `run.json` says of an input that was confirmed off."""


def store(
    folder: Path,
    *,
    ended: str | None = "completed",
    cause: str = "",
    at: float | None = None,
    current: float = 0.3,
    requires: str = REQUIRES,
    steps: dict[str, dict[str, Any]] | None = None,
    **about: Any,
) -> Path:
    """The folder of a run that was cut short at `at` [s]; None: it was not. ended None: killed.

    steps: of each step, keys of `run.json` to replace. about: other keys of `run.json`; one that is None is
    left out, as an earlier version did.
    """
    address = "TCPIP::127.0.0.1::{}::SOCKET"
    folder.mkdir()
    documents = load_documents(write(folder, address.format(1), address.format(2), HEAD + STEPS + requires))
    spans, place = build_timeline(documents.procedure, documents.device), folder / "run"
    copies, placed = copies_of(documents, place / "documents")
    write_together(copies, folders=True)
    end = spans.duration if at is None else at
    played = [
        {
            "name": span.name,
            "kind": span.kind,
            "start": span.start,
            "end": min(span.end, end),
            "inputs": list(span.inputs),
            "points": [[v, a, min(b, end)] for v, a, b in span.points if a < end],
            "whole": span.end <= end,
            **(steps or {}).get(span.name, {}),
        }
        for span in spans.spans
        if span.start < end
    ]
    for each in played:
        for key in [key for key, value in each.items() if value is None]:
            del each[key]
    said = {
        "run": "20261125-110312-TG0042",
        "software": "railwright",
        "unit": "U-7",
        "operator": "An operator",
        "started": "2026-11-25T11:03:12+00:00",
        "documents": placed,
        "sensed": {name: feed.sense for name, feed in SET_POINTS.items()},
        "instruments": [],
        "ended": ended,
    }
    time = np.arange(-0.1, end + EVERY / 2.0, EVERY)
    write_json(place / "settings.json", as_data(Settings(SET_POINTS, (), (), ())))
    (place / "log.ndjson").write_text(
        "".join(json.dumps(line) + "\n" for line in _log(played, time, current))
    )
    if ended is None:
        write_json(place / "run.json", said | about)
        return place
    said |= {
        "finished": "2026-11-25T11:03:20+00:00",
        "cause": cause,
        "energised": True,
        "off_confirmed": True,
        "not_confirmed": [],
        "switched_off": dict.fromkeys(SET_POINTS, OFF),
        "steps": played,
    }
    said |= about
    write_json(place / "run.json", {key: value for key, value in said.items() if value is not None})
    write_json(place / "events.json", [])
    for name in SET_POINTS:
        with ParquetRows(readings_file(place, name), name, "at load") as rows:
            for each in time:
                rows.add(float(each), 12.0, current, -1)
    write_manifest(place)
    return place


def _log(played: list[dict[str, Any]], time: np.ndarray, current: float) -> list[dict[str, Any]]:
    """Lines of a run that was killed: the step that was going on has no end."""
    lines: list[dict[str, Any]] = []
    for span in played:
        begin = {"name": span["name"], "step": span["kind"], "inputs": span["inputs"]}
        lines.append({"kind": "step begins", "time": span["start"], **begin})
        if span.get("whole", True):
            close = {"name": span["name"], "start": span["start"], "points": span["points"], "whole": True}
            lines.append({"kind": "step ends", "time": span["end"], **close})
    reading = {"kind": "reading", "at": "at load", "voltage": 12.0, "current": current, "mode": 1}
    lines += [{**reading, "time": float(t), "input": name} for t in time for name in SET_POINTS]
    return lines
