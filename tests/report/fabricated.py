"""Records as a rehearsal and a run of the demo would give them, by a small explicit integration."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from railwright.plan.timeline import Timeline
from railwright.traces import Event, EventKind, Mode, Record, Span, Traces

STEP = 100e-6


@dataclass(frozen=True)
class Rail:
    """One input with what feeds it, SI units."""

    capacitance: float
    resistance: float
    current_limit: float
    power: float = 0.0
    starts: float = 0.0
    stops: float = 0.0
    soft_start: float = 8e-3
    constant_current: float = 0.0
    compliance: float = 9.0


DEMO = {
    "main": Rail(1000e-6, 0.25, 1.0, power=3.6 / 0.86, starts=8.4, stops=7.6),
    "transducer": Rail(10e-6, 20.0, 0.1, constant_current=0.02),
}


def references(
    timeline: Timeline, name: str, time: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """The set voltage and whether the output is on, at each time."""
    corners: list[tuple[float, float]] = [(-1.0, 0.0)]
    on = np.zeros(time.size, dtype=bool)
    for action in timeline.actions:
        if action.input != name:
            continue
        if action.kind == "on":
            on[time >= action.time] = True
        elif action.kind == "off":
            on[time >= action.time] = False
        else:
            corners += [(action.time, corners[-1][1]), (action.time + max(action.over, 1e-4), action.voltage)]
    return np.interp(time, [c[0] for c in corners], [c[1] for c in corners]), on


def simulate(timeline: Timeline, rails: Mapping[str, Rail], tail: float = 0.3) -> Record:
    """Every input's voltage, current and mode against time."""
    time = np.arange(0.0, timeline.duration + tail, STEP)
    traces, events = {}, []
    for name, rail in rails.items():
        set_voltage, on = references(timeline, name, time)
        rows = []
        v, running, since = 0.0, False, 0.0
        # Plain floats: an explicit loop over array elements takes ten times as long.
        for now, wanted_voltage, is_on in zip(time.tolist(), set_voltage.tolist(), on.tolist(), strict=True):
            i, m = 0.0, 0
            if is_on:
                wanted = max(0.0, (wanted_voltage - v) / rail.resistance)
                i, m = (wanted, 1) if wanted <= rail.current_limit else (rail.current_limit, 2)
            if running and v < rail.stops:
                running = False
            elif not running and rail.power and v > rail.starts:
                running, since = True, now
            drawn = rail.constant_current * min(1.0, v / rail.compliance) + v / 10000
            if running:
                drawn += rail.power / max(v, 1.0) * min(1.0, (now - since) / rail.soft_start)
            v = max(0.0, v + STEP * (i - drawn) / rail.capacitance)
            rows.append((v, i, m))
        voltage, current, mode = np.array(rows, dtype=float).T
        traces[name] = Traces(
            time,
            {
                "voltage": voltage,
                "terminal_voltage": voltage + 0.1 * current,
                "current": current,
                "mode": mode,
            },
        )
        events += [
            Event(a.time, name, EventKind(a.kind))
            for a in timeline.actions
            if a.input == name and a.kind in ("on", "off")
        ]
        for k in np.flatnonzero(np.diff(mode) != 0):
            if mode[k + 1] == Mode.CC:
                events.append(Event(float(time[k + 1]), name, EventKind.ENTERS_CC))
    return Record("rehearsal", traces, tuple(sorted(events, key=lambda e: e.time)), timeline.spans)


def readings(record: Record, late: float, seed: int = 7) -> Record:
    """What a supply reads of it: averages of 8 ms every 10 ms with errors, `late` seconds later."""
    random = np.random.default_rng(seed)
    traces = {}
    for name, fine in record.traces.items():
        stamps = np.arange(0.004, fine.time[-1], 0.01)
        columns = {}
        for column, error, noise, step in (("voltage", 1.0003, 1e-3, 1e-3), ("current", 0.9993, 1e-4, 1e-4)):
            total = np.concatenate(([0.0], np.cumsum(fine.columns[column]) * STEP))
            edges = np.append(fine.time, fine.time[-1] + STEP)
            mean = (np.interp(stamps, edges, total) - np.interp(stamps - 8e-3, edges, total)) / 8e-3
            values = mean * error + random.normal(0, noise, stamps.size)
            columns[column] = np.round(values / step) * step
        place = np.minimum(np.searchsorted(fine.time, stamps), fine.time.size - 1)
        columns["mode"] = fine.columns["mode"][place]
        traces[name] = Traces(stamps + late, columns)
    events = tuple(replace(e, time=e.time + late) for e in record.events)
    spans = tuple(
        Span(s.name, s.kind, s.start + late, s.end + late, s.inputs, s.points) for s in record.spans
    )
    return Record("supply readings", traces, events, spans)


def recording(record: Record, late: float, end: float, seed: int = 8) -> Record:
    """What a recorder sees of the first `end` seconds, every 20 us."""
    random = np.random.default_rng(seed)
    time = np.arange(0.0, end, 20e-6)
    traces = {}
    for name, fine in record.traces.items():
        voltage = np.interp(time, fine.time, fine.columns["voltage"]) * 1.002 + random.normal(
            0, 5e-3, time.size
        )
        current = np.interp(time, fine.time, fine.columns["current"]) * 0.996 + random.normal(
            0, 1e-4, time.size
        )
        traces[name] = Traces(time + late, {"voltage": np.round(voltage, 2), "current": np.round(current, 4)})
    return Record("transient recorder", traces)
