"""What a log begins with and ends at: `left.1 current below 100 mA for 10 s`, `3 h`, `1000 rows`, an hour."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Mapping, Sequence
from typing import Literal, NamedTuple

from railwright.documents.output_name import OutputName
from railwright.documents.repeating import READING_BOUNDS, ReadingBound
from railwright.instruments.supply import OutputReading
from railwright.quantities import parse_value, quoted

ROUNDING = 1e-6
"""A time that is so near [s] has come: it is made of many intervals."""

MOST_ROWS = 10**12

EXAMPLES = "'left.1 current below 100 mA for 10 s', a time such as '3 h', '1000 rows', or '2026-03-01T08:00'"

_BOUND = re.compile(r"(\S.*?)\s+(voltage|current)\s+(above|below)\s+(\S.*?)(?:\s+for\s+(\S.*))?", re.DOTALL)
_ROWS = re.compile(r"(\d{1,13})\s+rows?", re.ASCII)
_INSTANT = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d.*", re.ASCII)


class LogCondition(NamedTuple):
    """One of: a bound of an output's readings that is met for a time [s], a duration [s], a count of rows, an
    instant [s since 1970]. words: as it was written.
    """

    words: str
    kind: Literal["bound", "duration", "count", "instant"]
    amount: float
    output: OutputName | None = None
    bound: ReadingBound | None = None


class LogRow(NamedTuple):
    """The readings of one instant.

    time: of the instant [s] since the log began; unix: the same by the clock of the wall [s since 1970].
    readings: output -> what was read; one that is not there was missed. delays: supply -> how long after the
    instant it was read [s], half way through the exchange. missed: supply -> why nothing was read.
    """

    number: int
    time: float
    unix: float
    readings: Mapping[OutputName, OutputReading]
    delays: Mapping[str, float]
    missed: Mapping[str, str]


def parse_condition(text: str, outputs: Sequence[OutputName], *, counts: bool = True) -> LogCondition:
    """A condition as it is written; outputs: those that are read. ValueError in one line. counts: whether a
    count of rows may be one.
    """
    words = " ".join(text.split())
    if match := _BOUND.fullmatch(words):
        name, quantity, side, value, lasting = match.groups()
        if name not in outputs:
            known = ", ".join(outputs)
            raise ValueError(f"expected an output that is read ({known}), got {quoted(name)}")
        bound = ReadingBound(*READING_BOUNDS[f"{quantity}_{side}"], parse_value(value, _UNITS[quantity]))
        seconds = 0.0 if lasting is None else _time(lasting)
        return LogCondition(words, "bound", seconds, OutputName(name), bound)
    if match := _ROWS.fullmatch(words):
        if not counts:
            raise ValueError(f"expected what a log begins with, got a count of its rows, {quoted(text)}")
        if not 1 <= int(match[1]) <= MOST_ROWS:
            raise ValueError(f"expected at least 1 row, got {quoted(text)}")
        return LogCondition(words, "count", float(match[1]))
    if _INSTANT.fullmatch(words):
        try:
            # Without a zone it is of this place.
            instant = dt.datetime.fromisoformat(words).astimezone().timestamp()
        except (ValueError, OverflowError, OSError):
            raise ValueError(f"expected an instant such as '2026-03-01T08:00', got {quoted(text)}") from None
        return LogCondition(words, "instant", instant)
    if re.match(r"[+-]?[\d.]", words):
        return LogCondition(words, "duration", _time(words))
    raise ValueError(f"expected {EXAMPLES}; got {quoted(text)}")


_UNITS = {"voltage": "V", "current": "A"}


def _time(text: str) -> float:
    seconds = parse_value(text, "s")
    if seconds <= 0.0:
        raise ValueError(f"expected a time above 0, got {quoted(text)}")
    return seconds


class AnyOf:
    """Looks at rows one after the other: which of some conditions is met first."""

    def __init__(self, conditions: Sequence[LogCondition]) -> None:
        self._conditions = tuple(conditions)
        self._since = [math.nan] * len(self._conditions)

    def met(self, row: LogRow, rows: int) -> LogCondition | None:
        """The first of them that is met with this row; rows: written so far, this one included. A reading
        that was missed breaks the time for which a bound is met.
        """
        found = None
        for place, each in enumerate(self._conditions):
            if self._is_met(place, each, row, rows):
                found = found or each
        return found

    def _is_met(self, place: int, each: LogCondition, row: LogRow, rows: int) -> bool:
        if each.kind == "count":
            return rows >= each.amount
        if each.kind == "instant":
            return row.unix >= each.amount - ROUNDING
        if each.kind == "duration":
            return row.time >= each.amount - ROUNDING
        assert each.output is not None
        assert each.bound is not None
        reading = row.readings.get(each.output)
        if reading is None or not each.bound.met(reading.voltage, reading.current):
            self._since[place] = math.nan
            return False
        if math.isnan(self._since[place]):
            self._since[place] = row.time
        return row.time - self._since[place] >= each.amount - ROUNDING
