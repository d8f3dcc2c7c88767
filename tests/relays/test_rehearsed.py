"""What a contact does to the circuit: against closed forms of a capacitor, a resistor and a lead."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from tests.bench import CONVERTER
from tests.relays.station import RELAYS, documents

from railwright.circuit.leads import lead_resistance
from railwright.job import Job
from railwright.plan.plan import plan_of
from railwright.rehearsal.faults import power_up_alone
from railwright.rehearsal.rehearse import Prediction, rehearse
from railwright.traces import EventKind

OHMS, FARADS, ESR = 24.0, 1e-3, 0.06
LOAD = [(CONVERTER, "      - resistor: {resistance: 24 ohm}\n"), ("1000 uF ± 20 %", "1000 uF")]
CUT = """  - relays: {close: [gate], settle: 50 ms}
    name: connect
  - power_up: {order: [main], rise: 0.1 V/ms, settle: 400 ms}
    name: up
  - relays: {open: [gate], settle: 20 ms}
    name: cut
  - hold: 40 ms
    name: away
  - relays: {close: [gate], settle: 100 ms}
    name: again
  - power_down: {order: [main]}
"""


def rehearsed(folder: Path, steps: str = CUT, relays: str = RELAYS) -> tuple[Prediction, Job]:
    edits = {"tide-gauge.device.yaml": LOAD}
    job = Job.open(documents(folder, steps=steps, relays=relays, requires="  []\n", edits=edits))
    set_points = job.check(static=True).settings.set_points
    plan = plan_of(job.documents, set_points)
    return rehearse(job.documents, set_points, timeline=plan.played), job


def test_the_device_lives_on_its_capacitor_while_the_contact_is_open(tmp_path: Path) -> None:
    """v = v0 R / (R + r) exp(-t / (R + r) C) from the instant at which the contact has opened on; 8 ms and
    12 ms are its own times.
    """
    prediction, _ = rehearsed(tmp_path / "s")
    traces, spans = prediction.record.traces["main"], {s.name: s for s in prediction.record.spans}
    events = [e for e in prediction.record.events if e.subject == "main"]
    moved = [(e.kind, e.time) for e in events if e.kind in (EventKind.LEAD_OPENS, EventKind.LEAD_CLOSES)]
    assert [kind for kind, _ in moved] == [
        EventKind.LEAD_CLOSES, EventKind.LEAD_OPENS, EventKind.LEAD_CLOSES,
    ]  # fmt: skip
    times = [time for _, time in moved]
    assert times == pytest.approx([0.012, spans["cut"].start + 0.008, spans["again"].start + 0.012])
    opened, closed = times[1], times[2]
    away = traces.between(opened + 2e-4, closed - 1e-6)
    v0 = np.interp(opened, traces.time, traces.columns["voltage"])
    expected = v0 * OHMS / (OHMS + ESR) * np.exp(-(away.time - opened) / ((OHMS + ESR) * FARADS))
    assert away.columns["voltage"] == pytest.approx(expected, rel=2e-3)
    assert np.abs(away.columns["current"]).max() < 1e-4
    # The output goes on, with nothing to drop along the lead.
    assert away.columns["terminal_voltage"][-1] == pytest.approx(12.0, abs=0.02)
    # What the capacitor lost comes back through the lead, up to the limit.
    assert traces.between(closed, closed + 0.02).columns["current"].max() > 1.4


def test_nothing_reaches_the_input_before_the_contact_is_closed(tmp_path: Path) -> None:
    steps = CUT.replace("  - relays: {close: [gate], settle: 50 ms}\n    name: connect\n", "")
    steps = steps.replace("  - relays: {open: [gate], settle: 20 ms}\n    name: cut\n", "")
    prediction, _ = rehearsed(tmp_path / "s", steps)
    again = next(span for span in prediction.record.spans if span.name == "again")
    before = prediction.record.traces["main"].between(0.0, again.start + 0.01)
    assert np.abs(before.columns["voltage"]).max() < 1e-3
    assert before.columns["terminal_voltage"][-1] == pytest.approx(12.0, abs=0.02)


@pytest.mark.parametrize("ohms", [0.02, 0.52, 2.0])
def test_a_closed_contact_is_part_of_the_one_lead_resistance(ohms: float, tmp_path: Path) -> None:
    """I = V / (R_lead + R_contact + R), and the lead without the contact is worked out by itself."""
    relays = RELAYS.replace("20 mohm ± 50 %", f"{ohms * 1e3:g} mohm")
    steps = CUT[: CUT.index("  - relays: {open")] + "  - power_down: {order: [main]}\n"
    prediction, job = rehearsed(tmp_path / "s", steps, relays)
    bench = job.documents.bench
    lead = lead_resistance(bench.leads["silicone pair"], bench).value.nominal
    whole = lead_resistance(bench.leads["silicone pair"], bench, bench.fixture("main gate")).value.nominal
    assert whole - lead == pytest.approx(ohms)
    up = next(span for span in prediction.record.spans if span.name == "up")
    traces = prediction.record.traces["main"]
    current = np.interp(up.end - 1e-3, traces.time, traces.columns["current"])
    volts = np.interp(up.end - 1e-3, traces.time, traces.columns["terminal_voltage"])
    assert current == pytest.approx(volts / (lead + ohms + OHMS), rel=1e-3)


def test_faults_are_rehearsed_with_the_contact_where_the_procedure_has_it(tmp_path: Path) -> None:
    """Each fault has its device powered: the power-up alone closes the contact before."""
    _, job = rehearsed(tmp_path / "s")
    set_points = job.check(static=True).settings.set_points
    timeline = power_up_alone(job.documents, set_points)
    (closed,) = timeline.contacts
    on = next(action.time for action in timeline.actions if action.kind == "on")
    assert closed.closed
    assert closed.time < on
    alone = rehearse(job.documents, set_points, timeline=timeline)
    assert alone.record.traces["main"].columns["voltage"][-1] > 5.0
    assert math.isclose(alone.inputs["main"].settled_voltage or 0.0, 12.0, abs_tol=0.1)


UP = "  - power_up: {order: [main], rise: 0.1 V/ms, settle: 400 ms}\n    name: up\n"
CLOSE, OPEN = (f"  - relays: {{{what}: [gate], settle: 50 ms}}\n" for what in ("close", "open"))
DOWN = "  - power_down: {order: [main]}\n"


@pytest.mark.parametrize(
    ("steps", "moves"),
    [
        (UP + CLOSE + OPEN + DOWN, [True]),  # connected once the output is on
        (UP + DOWN + CLOSE + UP.replace("name: up", "name: again") + DOWN, [True]),
        (CLOSE + OPEN + UP + CLOSE + DOWN, [True, False, True]),
        (CLOSE + UP + OPEN + CLOSE + DOWN, [True]),
        (UP + DOWN, []),  # never connected
    ],
)
def test_faults_are_rehearsed_with_the_device_connected(
    steps: str, moves: list[bool], tmp_path: Path
) -> None:
    _, job = rehearsed(tmp_path / "s", steps=steps)
    timeline = power_up_alone(job.documents, job.check(static=True).settings.set_points)
    assert [each.closed for each in timeline.contacts] == moves
    assert [action.kind for action in timeline.actions].count("on") == 1
