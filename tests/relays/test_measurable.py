"""What the check says can be decided behind a contact is what a run decides."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.relays.station import RELAYS, STEPS, documents, run_of
from tests.said import says

from railwright.archive.stored import evaluate_run, open_stored
from railwright.evaluation.outcome import Outcome
from railwright.job import Job
from railwright.rehearsal.rehearse import rehearse
from railwright.settings.measurable import Measurable, measurable

REQUIRES = """  - {name: start, measure: start_up_time, of: main, during: up, at_most: 100 ms}
  - {name: level, measure: high_state_level, of: main, during: steady, at_least: 11.8 V}
  - {name: power, measure: mean_power, of: main, during: steady, at_most: 6 W}
"""
THIN = [
    ("thin pair, sense", "thin pair, fixture: main gate, sense"),
    ("silicone pair, fixture: main gate,", "silicone pair,"),
    ("of: main", "of: transducer"),
]
"""The contact in the lead of the other input, of which the requirements then are."""


def looked_at(procedure: Path) -> dict[str, Measurable]:
    documents = Job.open(procedure).documents
    set_points = Job.open(procedure).check(static=True).settings.set_points
    record = rehearse(documents, set_points).record
    return {m.requirement: m for m in measurable(documents, set_points, record)}


@pytest.mark.parametrize("settle", ["50 ms", "13 ms"])
@pytest.mark.parametrize("behind", ["main", "transducer"])
@pytest.mark.parametrize("rests", ["open", "closed"])
def test_behind_a_contact_as_much_can_be_decided_as_a_run_decides(
    settle: str, behind: str, rests: str, tmp_path: Path
) -> None:
    steps = STEPS.replace("close: [gate], settle: 50 ms", f"close: [gate], settle: {settle}")
    relays = RELAYS.replace("without_power: open", f"without_power: {rests}")
    requires = REQUIRES
    procedure = documents(tmp_path / "s", steps=steps, requires=requires, relays=relays)
    if behind == "transducer":
        text = procedure.read_text("utf-8")
        for old, new in THIN:
            text = text.replace(old, new)
        procedure.write_text(text.replace("at_least: 11.8 V", "at_least: 23.5 V"), "utf-8")
    predicted = {name: each.verdict != "no" for name, each in looked_at(procedure).items()}
    run_of(procedure)
    results = evaluate_run(open_stored(procedure.parent / "run"), []).results
    decided = {each.requirement: each.outcome is not Outcome.INCONCLUSIVE for each in results}
    assert predicted == decided
    assert decided == {"start": True, "level": True, "power": True}


def test_a_start_up_behind_a_lead_that_stays_open_needs_a_recording_of_the_voltage_too(
    tmp_path: Path,
) -> None:
    steps = STEPS.replace("  - relays: {close: [gate], settle: 50 ms}\n    name: connect\n", "")
    steps = steps.replace("  - relays: {open: [gate], settle: 100 ms}\n    name: disconnect\n", "")
    requires = REQUIRES.replace("at_most: 100 ms", "at_least: 100 ms")
    found = looked_at(documents(tmp_path / "s", steps=steps, requires=requires))
    assert [found[each].verdict for each in ("start", "level")] == ["no", "will fail"]
    assert says(found["start"].would, "current and voltage", "samples")
