"""What happens in a run, written to the crash-safe log and told to the progress.

Memory stays constant, however long the run: of the readings only the newest of each input is kept.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any, Protocol

from railwright.instruments.supply import Identity
from railwright.records import lines
from railwright.records.readings import ORIGIN, Events, StoredTraces
from railwright.running.outcome import InputReading, Progress
from railwright.traces import NO_FACTS, Event, EventKind, Facts, Record, Span
from railwright.virtual_time import Clock, MonotonicClock


class LineLog(Protocol):
    """Where lines go. Nothing of it raises, and nothing but `close` takes time."""

    path: Path
    dropped: int
    """Lines that were not written."""
    longest_sync: float
    """The longest that the disk took to sync [s]."""

    @property
    def failed(self) -> OSError | None:
        """Why lines can no longer be written; None: they can."""

    def write(self, kind: str, **fields: Any) -> None:
        """Write one line, or drop and count it."""

    def close(self) -> None:
        """Make it last."""


class RunRecorder:
    """Tells the log and the progress what happens. A log that fails is never raised: the run looks at
    `failed` and ends itself.

    at: input -> where its voltage is sensed. newest: the last reading of each input that has one. rows:
    readings of each input so far; multimeter_rows: of each multimeter.
    """

    def __init__(
        self, log: LineLog, progress: Progress, at: dict[str, str], clock: Clock | None = None
    ) -> None:
        self.progress = progress
        self.spans: list[Span] = []
        self.newest: dict[str, InputReading] = {}
        self.rows = dict.fromkeys(at, 0)
        self.multimeter_rows: Counter[str] = Counter()
        self.log = log
        self._events = Events()
        self._clock = clock or MonotonicClock()
        self.zero = self._clock.now()
        """Where the record's time begins, on the clock that exchanges are stamped with [s]."""

    @property
    def failed(self) -> OSError | None:
        """Why the record can no longer be written; None: it can."""
        return self.log.failed

    @property
    def events(self) -> list[Event]:
        """What happened so far, in the order in which it was told; of very many the middle is left out."""
        return self._events.kept()

    def begin(self, zero: float, began: dt.datetime | None = None) -> None:
        """The record's time begins at `zero` of the monotonic clock; what came before is below zero. began:
        the time of day then.
        """
        shift = zero - self.zero
        self.zero = zero
        self._events.shift(shift)
        self.newest = {name: replace(r, time=r.time - shift) for name, r in self.newest.items()}
        self.write(lines.ZERO, shift=shift, began=began and began.isoformat())

    def now(self) -> float:
        return self._clock.now() - self.zero

    def at(self, monotonic: float) -> float:
        """Time of the record of an instant of the monotonic clock."""
        return monotonic - self.zero

    def write(self, kind: str, **fields: Any) -> None:
        self.log.write(kind, **fields)

    def event(
        self,
        kind: EventKind,
        subject: str,
        text: str = "",
        time: float | None = None,
        facts: Facts = NO_FACTS,
    ) -> None:
        """`time`: of the record; now, where it is left out."""
        self.add(Event(self.now() if time is None else time, subject, kind, facts, text))

    def identified(self, name: str, identity: Identity) -> None:
        """Who an instrument says that it is. Of a run that is killed, the log alone tells which it had."""
        told = f"{identity.model}, serial number {identity.serial}, version {identity.version}"
        self.event(EventKind.IDENTIFIED, name, told)
        self.write(lines.INSTRUMENT, name=name, identification=identity.fields)

    def add(self, event: Event) -> None:
        self._events.add(event)
        self.write(lines.EVENT, **event.as_data())
        self.progress.event(event)

    def add_all(self, events: Iterable[Event]) -> None:
        for event in events:
            self.add(event)

    def reading(self, raw: InputReading) -> InputReading:
        """Record a reading whose time is of the monotonic clock; gives it with the record's, to 0.1 µs."""
        asked, exchange = raw.since(self.zero)
        reading = replace(raw, time=round(raw.time - self.zero, 7), asked=asked, exchange=exchange)
        self.newest[reading.input] = reading
        self.rows[reading.input] += 1
        more = {"outputs": reading.outputs} if len(reading.outputs) > 1 else {}
        self.write(
            lines.READING,
            time=reading.time,
            input=reading.input,
            at=reading.at,
            voltage=reading.voltage,
            current=reading.current,
            mode=-1 if reading.mode is None else int(reading.mode),
            **more,
        )
        self.progress.reading(reading)
        return reading

    def multimeter(self, name: str, time: float, value: float | None, took: float) -> None:
        """Record a reading of a multimeter [V, A; None: beyond its range]. time: of the record [s], when its
        answer had come; took: the exchange [s].
        """
        self.multimeter_rows[name] += 1
        self.write(lines.MULTIMETER, name=name, time=round(time, 7), value=value, took=round(took, 7))

    def step_started(self, span: Span, position: int, time: float) -> None:
        self.write(lines.STEP_BEGINS, **lines.step_begins(span, time))
        self.progress.step_started(span, position)

    def step_ended(self, span: Span) -> None:
        """`span` as it really was."""
        self.spans.append(span)
        self.write(lines.STEP_ENDS, **lines.step_ends(span))

    def close(self) -> None:
        """Force the log onto the disk, and close it; whether that worked, `failed` says."""
        self.log.close()

    def record(self) -> Record:
        """All of it, in order of time, once the recorder is closed: its readings are read from the disk when
        they are asked for.
        """
        traces = StoredTraces(self.log.path.parent, tuple(self.rows))
        return Record(ORIGIN, traces, self._events.ordered(), tuple(self.spans))
