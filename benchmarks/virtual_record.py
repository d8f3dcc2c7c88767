"""Records with known truth, faster than real time: the same plants and meters as behind the sockets, on a
virtual clock.

The host is imitated as well: it plays a timeline's actions, polls the newest readings every so often, and
stamps a reading with the time at which it asked, less the latency of the bench document.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from railwright.documents.bench import Bench
from railwright.documents.loader import Documents
from railwright.documents.output_name import OutputName
from railwright.plan.set_points import Feed, SetPoints
from railwright.plan.timeline import Action, Timeline
from railwright.traces import Event, EventKind, Record, Traces
from railwright.twin.faults import TwinFault
from railwright.twin.plant import Plant
from railwright.twin.readings import ReadingWindow
from railwright.twin.truth import Truth

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

LEAD_IN = 0.5
"""Time before the first action [s]: meters run, and the first polls have something to read."""

STRETCH = 0.25
"""Longest stretch between two looks at the trips [s] that the host would have noticed."""


class VirtualBench:
    """The plants of all supplies that a hook-up uses, on one virtual clock that starts at -LEAD_IN [s]."""

    def __init__(
        self,
        documents: Documents,
        set_points: SetPoints,
        seed: int,
        overrides: Mapping[str, str] | None = None,
        faults: Sequence[TwinFault] = (),
    ) -> None:
        self.truth = Truth(seed, overrides)
        self._feeds = set_points
        self.time = -LEAD_IN
        """Virtual time [s]; 0 is the start of the timeline."""
        supplies = {each.output.supply for feed in set_points.values() for each in feed.outputs}
        self.plants = {
            name: Plant(
                name,
                documents.bench,
                documents.device,
                documents.procedure,
                self.truth,
                keep=math.inf,
                tick=STRETCH,
                faults=faults,
            )
            for name in documents.bench.supplies
            if name in supplies
        }
        unused = self.truth.unused_overrides()
        if unused:
            raise ValueError(f"there is no true parameter '{unused[0]}'")
        for feed in set_points.values():
            self._prepare(feed)

    def plant_of(self, output: OutputName) -> Plant:
        """The plant of the supply that has this output."""
        return self.plants[output.supply]

    def _prepare(self, feed: Feed) -> None:
        """Limits and protections, as a run sets them before anything is switched on."""
        for each in feed.outputs:
            plant = self.plant_of(each.output)
            plant.set_voltage(each.output, 0.0)
            plant.set_current(each.output, each.current_limit)
            plant.set_limit_action(each.output, each.at_limit == "trip", each.trip_delay)
            plant.set_ovp(each.output, each.ovp)
            plant.set_sense(each.output, feed.sense == "at load")

    def act(self, action: Action) -> None:
        """Do one thing now."""
        for each in self._feeds[action.input].outputs:
            plant = self.plant_of(each.output)
            if action.kind == "off":
                plant.switch(each.output, False)
                continue
            asked = action.voltage * each.share
            if action.kind == "on":
                plant.set_voltage(each.output, asked)
                plant.switch(each.output, True)
            else:
                plant.ramp(each.output, asked, action.over)

    def advance(self, to: float) -> None:
        """Go on to a virtual time [s]; a linked trip is carried out by the host at the end of a stretch."""
        while self.time < to:
            end = min(self.time + STRETCH, to)
            for plant in self.plants.values():
                plant.advance(end + LEAD_IN)
            for name, feed in self._feeds.items():
                if any(self.tripped(source) for source in feed.trips_when) and not self.tripped(name):
                    for each in feed.outputs:
                        self.plant_of(each.output).switch(each.output, False)
            # Kept here, not derived from a plant's clock: shifting by LEAD_IN and back rounds, and a stretch
            # that rounds to nothing would be repeated for ever.
            self.time = end

    def tripped(self, name: str) -> bool:
        """Whether an output that feeds this input has tripped."""
        return any(self.plant_of(each.output).tripped(each.output) for each in self._feeds[name].outputs)

    def events(self) -> tuple[Event, ...]:
        """Physical events of all plants, in order of time."""
        found = [
            replace(event, time=event.time - LEAD_IN)
            for plant in self.plants.values()
            for event in plant.events
        ]
        return tuple(sorted(found, key=lambda event: event.time))

    def true_traces(self) -> dict[str, Traces]:
        """Input -> fine true traces on the virtual clock."""
        traces = {}
        for plant in self.plants.values():
            for name, history in plant.input_history.items():
                time, *columns = history.since(0.0)
                traces[name] = Traces(time - LEAD_IN, dict(zip(history.columns, columns, strict=True)))
        return traces


def record_case(
    documents: Documents,
    set_points: SetPoints,
    seed: int,
    timeline: Timeline,
    *,
    overrides: Mapping[str, str] | None = None,
    faults: Sequence[TwinFault] = (),
) -> tuple[Record, Record]:
    """What a run on twins would have recorded, and the truth behind it; both on the timeline's clock.

    The record has, for every input, `current` and `voltage` (where it is sensed at the load) or
    `terminal_voltage`, one row a poll of the host. The truth has fine traces of both voltages, current and
    mode. Same seed, same records.
    """
    virtual = VirtualBench(documents, set_points, seed, overrides, faults)
    done: list[Event] = []
    for action in timeline.actions:
        virtual.advance(action.time)
        if action.kind != "line":
            done.append(Event(action.time, action.input, EventKind(action.kind)))
        virtual.act(action)
    virtual.advance(timeline.duration)
    every = documents.procedure.record.every
    first = virtual.truth.uniform("host.first poll", 0.0, every)
    traces = {
        name: _polled(documents.bench, virtual, feed, first, every, timeline.duration)
        for name, feed in set_points.items()
    }
    spans = tuple(timeline.spans)
    events = virtual.events()
    trips = [event for event in events if event.kind.trip]
    record = Record(
        "supply readings", traces, tuple(sorted([*done, *trips], key=lambda event: event.time)), spans
    )
    return record, Record("twin truth", virtual.true_traces(), events, spans)


def _polled(
    bench: Bench, virtual: VirtualBench, feed: Feed, first: float, every: float, end: float
) -> Traces:
    """One input's rows as the host gets them: newest readings at every poll, joined over its outputs."""
    import numpy as np

    polls = np.arange(first, end, every)
    voltages, currents = [], []
    latency = 0.0
    for each in feed.outputs:
        readings = virtual.plant_of(each.output).readings(each.output)
        newest = _newest(readings, polls + LEAD_IN)
        voltages.append(np.array([reading.voltage for reading in newest]))
        currents.append(np.array([reading.current for reading in newest]))
        figures = bench.output(each.output).reading
        latency = max(latency, (figures.latency if figures else None) or 0.0)
    series = feed.arrangement == "series"
    voltage = np.sum(voltages, axis=0) if series else voltages[0]
    current = np.mean(currents, axis=0) if series else np.sum(currents, axis=0)
    where = "voltage" if feed.sense == "at load" else "terminal_voltage"
    return Traces(polls - latency, {where: voltage, "current": current})


def _newest(readings: Sequence[ReadingWindow], at: Array) -> list[ReadingWindow]:
    """The newest reading that can be had at each instant."""
    import numpy as np

    available = np.array([reading.available for reading in readings])
    index = np.searchsorted(available, at, side="right") - 1
    return [readings[max(int(i), 0)] for i in index]
