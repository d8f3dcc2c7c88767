"""What evaluate and report say of a run that was killed, from its guard's journal."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from tests.evaluation.stored_runs import store
from tests.said import says

from railwright.archive.stored import open_stored
from railwright.report.of_run import run_facts_of

END = {
    "confirmed": True,
    "stays_on": "",
    "off_sent": 101.5,
    "off_read": 101.52,
    "fell": 101.53,
    "voltage": 0.02,
    "current": 0.0,
    "read_at": 101.9,
    "holds": None,
    "why": "",
    "below": 1.0,
}


def killed(folder: Path, *, clock: float | None, **end: Any) -> Path:
    """A run that was killed at 1 s, whose guard began to switch off at 101.5 s of its clock."""
    place = store(folder, ended=None, at=1.0)
    log = place / "log.ndjson"
    if clock is not None:
        log.write_text(json.dumps({"kind": "run", "clock": clock}) + "\n" + log.read_text())
    lines = [
        {"time": 90.0, "kind": "arm", "armed": True},
        {"time": 101.5, "kind": "off begun", "why": "the run died"},
        {"time": 101.5, "kind": "off", "what": "off sent", "input": "main"},
        {"time": 101.9, "kind": "off over", "ends": {"main": {**END, **end}}},
        {"time": 101.9, "kind": "over", "goodbye": False},
    ]
    (place / "guard.ndjson").write_text("".join(json.dumps(line) + "\n" for line in lines))
    return place


@pytest.mark.parametrize(
    ("clock", "words"),
    [
        (100.0, "killed; the guard switched off at 1.5 s and confirmed it at 1.9 s"),
        (None, "killed; the guard switched off and confirmed it"),
    ],
)
def test_a_killed_run_says_when_its_guard_switched_off(
    tmp_path: Path, clock: float | None, words: str
) -> None:
    stored = open_stored(killed(tmp_path / "stored", clock=clock))
    assert stored.ending.words == "stopped, off confirmed"
    assert stored.ending.cause == words
    assert words in stored.ending.withheld
    facts = run_facts_of(stored)
    assert facts["ended"] == f"it never came to its end: {words}"
    assert facts["switched_off"]["main"]["fell_after"] == pytest.approx(0.03)
    events = [(e.subject, e.what, e.time) for e in stored.data.record.events if e.what == "off sent"]
    assert events == ([("main", "off sent", pytest.approx(1.5))] if clock is not None else [])


@pytest.mark.parametrize(("clock", "sent"), [(100.0, "OFF was sent at 1.5 s"), (None, "OFF was sent; last")])
def test_what_its_guard_could_not_confirm_is_no_off(tmp_path: Path, clock: float | None, sent: str) -> None:
    place = killed(tmp_path / "stored", clock=clock, confirmed=False, why="left.1 still says that it is on")
    ending = open_stored(place).ending
    assert ending.off_confirmed is False
    (line,) = ending.not_confirmed
    assert says(line, "main", "left.1", "on")
    assert sent in line
    assert "nan" not in line
