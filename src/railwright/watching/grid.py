"""Readings of several supplies on one grid of instants: a row each, whole or with what was missed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from railwright.documents.output_name import OutputName
from railwright.instruments.supply import OutputReading
from railwright.watching.conditions import LogRow

GRACE = 0.6
"""How long after its interval a row waits for an answer that is under way [s]."""

LATE = "late"
"""Why a row has nothing of a supply that answers: its answer came too late for it."""

Readings = Mapping[OutputName, OutputReading]


class Grid:
    """Rows number 0, 1, … at start + n * every [s, the clock of the readings].

    A row is complete with a reading of each supply; it is handed out once it is, or when a supply has nothing
    for it any more: that has gone on to a later row, is not being read (`gone` says why), or is late. An
    answer that comes after its row stands in the next one that is still there, with its delay.
    """

    def __init__(self, start: float, every: float, supplies: Sequence[str]) -> None:
        self.start, self.every, self.next = start, every, 0
        self._supplies = tuple(supplies)
        self._rows: dict[str, dict[int, Readings]] = {name: {} for name in self._supplies}

    def instant(self, number: int) -> float:
        """Of a row [s]."""
        return self.start + number * self.every

    def after(self, time: float) -> int:
        """The first row whose instant lies after a time."""
        return max(self.next, math.floor((time - self.start) / self.every) + 1)

    def holding(self, time: float) -> int:
        """The row in whose interval a time lies."""
        return math.floor((time - self.start) / self.every + 1e-9)

    def put(self, supply: str, number: int, readings: Readings) -> None:
        """What a supply was read to be, for a row. Of several for one row the first stays."""
        self._rows[supply].setdefault(max(number, self.next), readings)

    def rows(self, now: float, gone: Mapping[str, str], offset: float) -> Iterator[LogRow]:
        """The rows that can be closed now, in order. gone: supply -> why it is not being read. offset: from
        this clock to that of the wall [s].
        """
        while (instant := self.instant(self.next)) <= now:
            missing = [name for name in self._supplies if self.next not in self._rows[name]]
            if any(not self._given_up(name, instant, now, gone) for name in missing):
                return
            readings: dict[OutputName, OutputReading] = {}
            delays = {}
            for name in self._supplies:
                found = self._rows[name].pop(self.next, None)
                if found is not None:
                    readings.update(found)
                    delays[name] = next(iter(found.values())).time - instant
            missed = {name: gone.get(name) or LATE for name in missing}
            number, self.next = self.next, self.next + 1
            yield LogRow(number, instant - self.start, instant + offset, readings, delays, missed)

    def _given_up(self, supply: str, instant: float, now: float, gone: Mapping[str, str]) -> bool:
        later = bool(self._rows[supply])  # what is there belongs to rows from this one on
        return supply in gone or later or now > instant + self.every + GRACE
