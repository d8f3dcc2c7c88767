"""A run of a procedure on twins in virtual time: their readings, looked at by the run's own watch."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from benchmarks.virtual_record import record_case

from railwright.documents.loader import load_documents
from railwright.plan.timeline import build_timeline
from railwright.running.outcome import InputReading
from railwright.running.watch import Alarm, Watch
from railwright.settings.settle import settle
from railwright.traces import Mode
from railwright.twin.faults import parse_faults


def first_alarm(
    procedure: Path, seed: int = 1, faults: tuple[str, ...] = (), overrides: dict[str, str] | None = None
) -> Alarm | None:
    """What would have ended a run of this procedure; None: it is played to its end."""
    documents = load_documents(procedure)
    settings = settle(documents, dt.date(2026, 11, 25))
    assert len(settings.set_points) == len(documents.procedure.hook_up), settings.findings
    timeline = build_timeline(documents.procedure, documents.device)
    parsed = parse_faults(faults, tuple(documents.device.inputs))
    record, truth = record_case(
        documents, settings.set_points, seed, timeline, overrides=overrides, faults=parsed
    )
    watch = Watch(documents.procedure.stop_when)
    trips = {
        name: _trip(truth.events, {o.output for o in feed.outputs})
        for name, feed in settings.set_points.items()
    }
    ages = {}
    for name, feed in settings.set_points.items():
        readings = [documents.bench.output(o.output).reading for o in feed.outputs]
        ages[name] = max(
            sum(t or 0.0 for t in (r.latency, r.aperture, r.update)) if r else 0.0 for r in readings
        )
    rows = []
    for name, traces in record.traces.items():
        at_load = "voltage" in traces.columns
        voltage = traces.columns["voltage" if at_load else "terminal_voltage"]
        for time, v, i in zip(traces.time, voltage, traces.columns["current"], strict=True):
            rows.append((float(time), name, float(v), float(i), at_load))
    steps = list(timeline.spans)
    switches = [action for action in timeline.actions if action.kind != "line"]
    for time, name, v, i, at_load in sorted(rows):
        while steps and steps[0].start <= time:
            watch.step_begins(steps[0].name, steps[0].start)
            steps.pop(0)
        while switches and switches[0].time <= time:
            watch.switched(switches[0].input, switches[0].kind == "on", switches[0].time)
            switches.pop(0)
        tripped = trips[name]
        trip = tripped[1] if tripped is not None and tripped[0] <= time else ""
        mode = Mode.TRIPPED if trip else Mode.CV
        at = "at load" if at_load else "at terminals"
        reading = InputReading(time, name, at, v, i, mode, trip, age=ages[name])
        alarm = watch.see(reading)[1]
        if alarm is not None:
            return alarm
    return None


def _trip(events, outputs):  # type: ignore[no-untyped-def]
    for event in events:
        if event.subject in outputs and event.kind.trip:
            return event.time, event.kind.trip
    return None
