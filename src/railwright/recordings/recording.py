"""A recording that is open: its columns, its time base, and its samples, a block at a time."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

import numpy as np

from railwright.quantities.parsing import LARGEST
from railwright.recordings.columns import Column, is_unit, unit_factor
from railwright.recordings.errors import RecordingError
from railwright.recordings.file import RecordedFile
from railwright.recordings.samples import Channel, Gathered, Samples, TimeBase
from railwright.recordings.table import BLOCK, Table
from railwright.recordings.thinning import Thinned
from railwright.regular import MOST_SAMPLES

if TYPE_CHECKING:
    from numpy.typing import NDArray

MOST_SHOWN = 1_000_000
"""Samples that are kept of a recording that is only looked at."""


MOST_PER_BYTE = 2000
"""Samples that a file may hold in each of its bytes: twice what deflate makes of samples of one byte. A file
that says it holds more was never written, and would be read for ever.
"""


class OpenRecording:
    """A recording that is open; use as a context. `open_recording` makes it.

    columns: all of them, as the file has them. time: its time base. recognised: what was recognised or taken
    for granted, for people. A block is read at a time, and nothing after the end of what is asked for.
    """

    def __init__(self, table: Table, time: TimeBase, recognised: Sequence[str], *, keys: bool) -> None:
        self._table, self.time, self._keys = table, time, keys
        self.columns, self.recognised = table.columns, tuple(recognised)
        self._origin: Any = None
        self._reached = 0.0

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        self._table.close()

    @property
    def file(self) -> RecordedFile:
        """The file as it was when it was opened."""
        return self._table.file

    @property
    def path(self) -> Path:
        return self._table.file.path

    @property
    def ending(self) -> str:
        """How a file of this kind is called: `.csv`, `.parquet`, `.h5` or `.wav`."""
        return self._table.ending

    @property
    def channels(self) -> tuple[tuple[int, Column], ...]:
        """The columns but for that of the time, each with its place."""
        return tuple((n, column) for n, column in enumerate(self.columns) if n != self.time.place)

    def refuse(self, told: str, column: Column | None = None) -> RecordingError:
        """The error of what is wrong with the columns, or with one of them."""
        if column is None:
            return RecordingError(self.path, self._table.header_line, told)
        return RecordingError(self.path, column.line, told, column.place)

    def refuse_row(self, row: int, told: str) -> RecordingError:
        """The error of what is wrong with a sample, rows from 0."""
        return RecordingError(self.path, self._table.first_line + row, told)

    def count(self, channels: Sequence[Channel]) -> int | None:
        """Samples of these channels in the file; None: only reading all of them tells.

        RecordingError where one has more than another, or than there are times.
        """
        return self._table.count(self._places(channels))

    def place(self, wanted: str) -> int:
        """Of a column that is named, or numbered from 1. RecordingError where there is none, or several."""
        return self._table.place(wanted, "column")

    def channel(
        self, place: int, unit: str, written: str | None = None, full_scale: float | None = None
    ) -> Channel:
        """A column as it is wanted, in an SI unit.

        written: its unit, where the file has none or another. full_scale: what a full-scale sample of whole
        numbers stands for [unit]; of a WAV file only. RecordingError where the column cannot be that.
        """
        column = self.columns[place]
        if place == self.time.place:
            told = f"expected another column than that of the time, got '{column.name}' for both"
            raise self.refuse(told)
        if column.kind == "fraction":
            if full_scale is None:
                what = {"V": "voltage", "A": "current"}.get(unit, "quantity")
                told = f"expected 'full_scale' for a WAV file of whole numbers, got none; give the {what}"
                raise self.refuse(f"{told} at full scale")
            return Channel(place, full_scale)
        if full_scale is not None:
            told = "expected 'full_scale' for a WAV file of whole numbers only, got one for"
            raise self.refuse(f"{told} '{column.name}', whose numbers stand as they are; remove it", column)
        given = written or column.unit
        if not given:
            told = f"unit of '{column.name}': none is given, {unit} is taken"
            return Channel(place, 1.0, (told,))
        factor = unit_factor(given, unit)
        if factor is None:
            kind = "another unit" if is_unit(given) else "no unit that is known"
            told = f"expected a unit of {unit} for '{column.name}', got '{given}', {kind}"
            remedy = "give 'unit'" if self._keys else "correct the header"
            raise self.refuse(f"{told}; {remedy}", column)
        return Channel(place, factor)

    def blocks(
        self,
        channels: Sequence[Channel],
        begin: float = 0.0,
        end: float | None = None,
        *,
        checked: bool = True,
    ) -> Iterator[Samples]:
        """Samples from begin to end [s after the first], and one more on either side, block by block.

        checked: RecordingError at the row where a number is not finite or the time runs back; else NaN stands
        for a gap. Values outside of the part are not looked at. RecordingError where the file changes
        meanwhile.
        """
        row, started, last = self._start(channels, begin), False, None
        for arrays in self._table.blocks(self._places(channels), row):
            if not arrays[0].size:
                continue
            if row > MOST_PER_BYTE * self.file.size:
                told = f"expected at most {MOST_PER_BYTE:,} samples in each byte of the file, got more"
                raise RecordingError(self.path, 1, f"{told}; it holds less than it says: record it anew")
            if row == 0 and self.time.place is not None:
                self._origin = arrays[-1][:1]
            block = [self._seconds(arrays, row)]
            block += [self._numbers(array, each) for array, each in zip(arrays, channels, strict=False)]
            time = block[0]
            if checked:
                self._check_time(row, time, last)
            first, stop = 0, time.size
            if not started:
                first = int(np.searchsorted(time, self.zero + begin, side="left")) if begin > 0.0 else 0
            if end is not None:
                stop = int(np.searchsorted(time, self.zero + end, side="right"))
            newest = [each[-1:] for each in block]
            if first < time.size:
                at = max(0, first - 1)
                block = [each[at : stop + 1] for each in block]
                if first == 0 and not started and last is not None:
                    block = [np.concatenate(pair) for pair in zip(last, block, strict=True)]
                    at = -1
                started = True
                if checked:
                    self._check_values(row + at, block[1:], channels)
                yield Samples(row + at, block[0], tuple(block[1:]), self.zero)
            last, row, self._reached = newest, row + time.size, float(newest[0][0] - self.zero)
            if stop < time.size:
                break
        self.file.check_unchanged()

    def read(
        self,
        channels: Sequence[Channel],
        begin: float = 0.0,
        end: float | None = None,
        *,
        most: int | None = MOST_SAMPLES,
        checked: bool = True,
    ) -> Samples:
        """The same in one piece.

        RecordingError also where it is more than `most` samples and, of what is checked, where it is fewer
        than two, or the recording does not reach from begin to end.
        """
        if most is not None:
            self._refuse_more(channels, begin, end, most)
        known = self.count(channels) if begin <= 0.0 and end is None else None
        gathered, row = Gathered(1 + len(channels), BLOCK if known is None else known), None
        for part in self.blocks(channels, begin, end, checked=checked):
            row = part.row if row is None else row
            if most is not None and gathered.size + part.time.size > most:
                raise RecordingError(self.path, 1, self._too_many(most, "more"))
            gathered.add((part.time, *part.values))
        if checked:
            self._check_reach(gathered.size, begin, end)
        time, *values = gathered.columns()
        return Samples(row or 0, time, tuple(values), self.zero if gathered.size else 0.0)

    def thinned(
        self,
        channels: Sequence[Channel],
        begin: float = 0.0,
        end: float | None = None,
        *,
        most: int = MOST_SHOWN,
    ) -> Samples:
        """The same to be looked at: at most so many samples, all of them or every extreme of each channel."""
        thinned, row, got = Thinned(len(channels), most), None, 0
        for part in self.blocks(channels, begin, end):
            row, got = (part.row if row is None else row), got + part.time.size
            thinned.add(part.row, part.time, part.values)
        self._check_reach(got, begin, end)
        time, *values = thinned.result()
        return Samples(row or 0, time, tuple(values), self.zero)

    @property
    def zero(self) -> float:
        """The file's first time [s]; instants count from there."""
        if self.time.place is None or self.time.instants:
            return 0.0
        return float(self._first[0]) * self.time.factor

    @property
    def _first(self) -> Any:
        """The first time as the file has it, shape (1,)."""
        if self._origin is None:
            blocks = (
                arrays[0][:1] for arrays in self._table.blocks([self.time.place or 0]) if arrays[0].size
            )
            self._origin = next(blocks, None)
            if self._origin is None:
                raise self.refuse_row(0, "expected at least two samples, got none")
            self._check_time(0, self._seconds([self._origin], 0), None)
        return self._origin

    def _places(self, channels: Sequence[Channel]) -> list[int]:
        places = [each.place for each in channels]
        return places if self.time.place is None else [*places, self.time.place]

    def _start(self, channels: Sequence[Channel], begin: float) -> int:
        """The row at which to begin reading: before that time, and not long before where the file allows."""
        if begin <= 0.0:
            return 0
        starts = self._table.starts(self._places(channels))
        if self.time.place is None:
            return starts[max(0, bisect_right(starts, begin / self.time.interval - 1.0) - 1)]
        place = self.time.place

        def time_at(row: int) -> float:
            arrays = next(iter(self._table.blocks([place], row)))
            return float(self._seconds([arrays[0][:1]], row)[0])

        return (
            starts[max(0, bisect_left(starts, self.zero + begin, key=time_at) - 1)] if len(starts) > 1 else 0
        )

    def _seconds(self, arrays: Sequence[NDArray[Any]], row: int) -> NDArray[np.float64]:
        """Times of the samples [s], of which the first stands in a row."""
        if self.time.place is None:
            even: NDArray[np.float64] = np.arange(row, row + arrays[0].size, dtype=np.float64)
            return even * self.time.interval
        time = arrays[-1]
        if self.time.instants:
            since: NDArray[np.float64] = (time - self._first) / np.timedelta64(1, "s")
            return since
        return time.astype(np.float64, copy=False) * self.time.factor

    def _numbers(self, array: NDArray[Any], channel: Channel) -> NDArray[np.float64]:
        """A column in SI units. RecordingError where it holds times, or texts."""
        if array.dtype.kind not in "iuf":
            name = self.columns[channel.place].name
            told = f"expected numbers in '{name}', got times or texts; name another column"
            raise self.refuse_row(0, told)
        values = array.astype(np.float64, copy=False)
        return values if channel.factor == 1.0 else values * channel.factor

    def _check_values(
        self, row: int, arrays: Sequence[NDArray[np.float64]], channels: Sequence[Channel]
    ) -> None:
        """Refuse the first number that is none; row: of the first of them."""
        for channel, array in zip(channels, arrays, strict=True):
            self._check_finite(row, array, self.columns[channel.place].header)

    def _check_finite(self, row: int, array: NDArray[np.float64], header: str) -> None:
        if not (array.max() <= LARGEST and array.min() >= -LARGEST):  # NaN is neither
            bad = np.flatnonzero(~(np.abs(array) <= LARGEST))
            value = float(array[bad[0]])
            got = "none (a gap, or NaN)" if np.isnan(value) else f"{value:g}"
            told = f"expected a finite number of at most {LARGEST:g} in '{header}', got {got}"
            raise self.refuse_row(row + int(bad[0]), told)

    def _check_time(
        self, row: int, time: NDArray[np.float64], last: Sequence[NDArray[np.float64]] | None
    ) -> None:
        """Refuse a time that is none, or one before the last."""
        if self.time.place is None:
            return
        self._check_finite(row, time, self.columns[self.time.place].header)
        back = np.flatnonzero(time[1:] < time[:-1]) + 1
        if last is not None and time[0] < last[0][0]:
            back = np.append(0, back)
        if back.size:
            told = "expected a time that never runs back, got one before the last"
            raise self.refuse_row(row + int(back[0]), told)

    def _refuse_more(self, channels: Sequence[Channel], begin: float, end: float | None, most: int) -> None:
        """Refuse what is known beforehand to be too much."""
        count = self.count(channels)
        if count is None:
            return
        wanted = float(count)
        if self.time.place is None:
            wanted = min(wanted, math.inf if end is None else end / self.time.interval)
            wanted -= begin / self.time.interval
        elif begin > 0.0 or end is not None:
            return
        if wanted > most:
            raise RecordingError(self.path, 1, self._too_many(most, f"{wanted:,.0f}"))

    def _too_many(self, most: int, got: str) -> str:
        part = "cut out a part with 'begin' and 'end'" if self._keys else "leave out those on straight lines"
        return f"expected at most {most:,} samples, got {got}; {part}"

    def _check_reach(self, got: int, begin: float, end: float | None) -> None:
        """Refuse what holds too little, or not the part that is asked for."""
        until = self._reached if end is None else end
        if (begin > 0.0 or end is not None) and not begin < until <= self._reached * (1.0 + 1e-9):
            told = f"expected a part within its {self._reached:.6g} s, got {begin:.6g} s to {until:.6g} s"
            raise self.refuse_row(0, told)
        if got < 2:
            raise self.refuse_row(0, f"expected at least two samples, got {got or 'none'}")
