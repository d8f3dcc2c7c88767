"""What the supply's readings would show of contacts: the events that a run of the same procedure writes."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.bench import CONVERTER, DEVICE
from tests.relays.pins import ENABLED, HIGH
from tests.relays.pins import documents as pinned
from tests.relays.station import HEAD, run_of

from railwright.job import Job
from railwright.plan.plan import plan_of
from railwright.rehearsal.read import as_read
from railwright.rehearsal.rehearse import rehearse
from railwright.traces import EventKind, Record

KINDS = (EventKind.LEAD_CLOSES, EventKind.LEAD_OPENS, EventKind.PIN_ACTIVE, EventKind.PIN_INACTIVE)
DRIVEN_AND_GATE = """closed: high, without_power: open, operate: 2 ms, release: 2 ms}
      gate: {channel: 101, fixture: main gate, without_power: open, voltage: 30 V, current: 5 A"""
FIXTURE = "\nfixtures:\n  main gate: {switch: {starts: open, resistance: 20 mohm}}\nleads:\n"
CONSTANT = "      - constant_current: {current: 20 mA ± 5 %, compliance: 9 V}\n"
STEPS = """  - relays: {CONNECT, settle: 100 ms}
    name: connect
  - power_up: {order: [main, transducer], gap: 50 ms, rise: 2 V/ms, settle: 150 ms}
    name: up
  - relays: {open: [enable], settle: 100 ms}
    name: disable
  - relays: {close: [enable], settle: 100 ms}
    name: enable
  - power_down: {order: [transducer, main], gap: 20 ms}
    name: down
"""


def moved(record: Record) -> list[tuple[EventKind, str]]:
    return [(each.kind, each.subject) for each in record.events if each.kind in KINDS]


def times(record: Record) -> list[float]:
    return [each.time for each in record.events if each.kind in KINDS]


@pytest.mark.parametrize("connect", ["close: [enable, gate]", "close: [gate, enable]", "close: [gate]"])
@pytest.mark.parametrize("both", [False, True])
def test_contacts_in_leads_and_of_pins_are_told_as_in_a_run(connect: str, both: bool, tmp_path: Path) -> None:
    """Two of one step move one after the other; a pin concerns every input of which it enables a part."""
    starts = "inactive" if "enable" in connect else "active"
    procedure = pinned(
        tmp_path / "s",
        drives=DRIVEN_AND_GATE,
        head=HEAD.replace("limits:", f"pins:\n  run: {{from: enable, starts: {starts}}}\nlimits:"),
        procedure=STEPS.replace("CONNECT", connect),
        requires="  []\n",
        edits={
            "quay.bench.yaml": [("\nleads:\n", FIXTURE)],
            DEVICE: [
                (CONVERTER, ENABLED),
                ("\ninputs:\n", f"\npins:\n  run: {{{HIGH}}}\ninputs:\n"),
                *([(CONSTANT, CONSTANT + "        enabled_by: run\n")] if both else []),
            ],
        },
    )
    job = Job.open(procedure)
    documents, set_points = job.documents, job.check(static=True).settings.set_points
    timeline = plan_of(documents, set_points).played
    rehearsed = rehearse(documents, set_points, timeline=timeline).record
    read = as_read(rehearsed, documents, set_points, timeline, dict.fromkeys(set_points, 0.01))
    ran = run_of(procedure)[0].record
    assert moved(read) == moved(ran)
    assert len(moved(ran)) == 1 + (2 if starts == "active" else 3) * (1 + both)
    assert times(read) == pytest.approx(times(ran), abs=5e-3)
