"""What happens in a run, kept in memory and in the crash-safe log, told to the progress, and made a
record at the end.
"""

from __future__ import annotations

import time
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

from railwright.running.outcome import InputReading, Progress
from railwright.traces import HOW_PLAYED, Event, Record, Span, Traces

ORIGIN = "supply readings"


class LineLog(Protocol):
    """Where lines go; OSError where they cannot."""

    def write(self, kind: str, **fields: Any) -> None:
        """Write one line."""

    def close(self) -> None:
        """Make it last."""


@dataclass
class Columns:
    """Readings of one input as they come; mode is -1 where the output does not tell it."""

    at: str
    time: list[float] = field(default_factory=list)
    voltage: list[float] = field(default_factory=list)
    current: list[float] = field(default_factory=list)
    mode: list[int] = field(default_factory=list)

    def add(self, time: float, voltage: float, current: float, mode: int) -> None:
        self.time.append(time)
        self.voltage.append(voltage)
        self.current.append(current)
        self.mode.append(mode)

    def traces(self) -> Traces:
        """Channels as `Traces` names them: the voltage by where it was sensed, `mode` where it was told."""
        import numpy as np

        voltage = "voltage" if self.at == "at load" else "terminal_voltage"
        columns = {
            voltage: np.array(self.voltage, dtype=np.float64),
            "current": np.array(self.current, dtype=np.float64),
        }
        if self.mode and min(self.mode) >= 0:
            columns["mode"] = np.array(self.mode, dtype=np.float64)
        return Traces(np.array(self.time, dtype=np.float64), columns)


class Recorder:
    """Keeps what happens. A log that fails is remembered in `failed`, never raised: the run looks and ends
    itself.
    """

    def __init__(self, log: LineLog, progress: Progress, at: dict[str, str]) -> None:
        self.progress = progress
        self.failed: OSError | None = None
        self.events: list[Event] = []
        self.spans: list[Span] = []
        self.columns = {name: Columns(where) for name, where in at.items()}
        self._log = log
        self._zero = time.monotonic()

    def begin(self, zero: float) -> None:
        """The record's time begins at `zero` of the monotonic clock; what came before is below zero."""
        shift = zero - self._zero
        self._zero = zero
        self.events = [Event(e.time - shift, e.subject, e.what, e.detail) for e in self.events]
        self.write("zero", shift=shift)

    def now(self) -> float:
        return time.monotonic() - self._zero

    def at(self, monotonic: float) -> float:
        """Time of the record of an instant of the monotonic clock."""
        return monotonic - self._zero

    def write(self, kind: str, **fields: Any) -> None:
        if self.failed is not None:
            return
        try:
            self._log.write(kind, **fields)
        except OSError as error:
            self.failed = error

    def event(self, what: str, subject: str, detail: str = "", time: float | None = None) -> None:
        """`time`: of the record; now, where it is left out."""
        self.add(Event(self.now() if time is None else time, subject, what, detail))

    def add(self, event: Event) -> None:
        self.events.append(event)
        self.write("event", time=event.time, subject=event.subject, what=event.what, detail=event.detail)
        self.progress.event(event)

    def add_all(self, events: Iterable[Event]) -> None:
        for event in events:
            self.add(event)

    def reading(self, raw: InputReading) -> InputReading:
        """Keep a reading whose time is of the monotonic clock; gives it with the record's time."""
        reading = replace(raw, time=raw.time - self._zero)
        mode = -1 if reading.mode is None else int(reading.mode)
        self.columns[reading.input].add(reading.time, reading.voltage, reading.current, mode)
        more = {"outputs": reading.outputs} if len(reading.outputs) > 1 else {}
        self.write(
            "reading",
            time=round(reading.time, 7),
            input=reading.input,
            at=reading.at,
            voltage=reading.voltage,
            current=reading.current,
            mode=mode,
            **more,
        )
        self.progress.reading(reading)
        return reading

    def step_started(self, span: Span, position: int, time: float) -> None:
        self.write("step begins", time=time, name=span.name, step=span.kind, inputs=span.inputs)
        self.progress.step_started(span, position)

    def step_ended(self, span: Span) -> None:
        """`span` as it really was."""
        self.spans.append(span)
        self.write(
            "step ends",
            time=span.end,
            name=span.name,
            start=span.start,
            points=span.points,
            **{key: getattr(span, key) for key in HOW_PLAYED},
        )

    def close(self) -> None:
        if self.failed is None:
            try:
                self._log.close()
            except OSError as error:
                self.failed = error

    def record(self) -> Record:
        """All of it, in order of time."""
        return Record(
            ORIGIN,
            {name: columns.traces() for name, columns in self.columns.items()},
            tuple(sorted(self.events, key=lambda event: event.time)),
            tuple(self.spans),
        )
