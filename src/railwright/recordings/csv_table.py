"""CSV recordings, parsed a piece of the file at a time, with the line of the first thing that is wrong."""

from __future__ import annotations

import os
import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from railwright.recordings.csv_layout import (
    CLOCK,
    DAY_FIRST,
    Layout,
    is_number,
    place_in,
    recognise,
    wrong_count,
)
from railwright.recordings.errors import RecordingError
from railwright.recordings.file import RecordedFile
from railwright.recordings.table import Table

if TYPE_CHECKING:
    from numpy.typing import NDArray

LOOKED_AT = 200_000
"""Bytes at the beginning of a file from which its layout is told."""

PIECE = 1 << 22
"""Bytes that are parsed at a time; no line is longer."""

_BLANKS = " \t"
"""What the parser leaves out around a cell."""

MOST_TOLD = 5
"""Cells of a piece of which it is said what is wrong."""


class CsvTable(Table):
    """A CSV file. RecordingError where no rows of numbers are recognised in it."""

    ending = ".csv"

    def __init__(self, file: RecordedFile) -> None:
        self._stream = os.open(file.path, os.O_RDONLY | os.O_NONBLOCK)
        try:
            recognised: list[str] = []
            # What the system makes up while it is read has no size: it is taken for empty.
            head = os.pread(self._stream, min(LOOKED_AT, file.size), 0)
            lines, self._encoding = _lines(file, head, len(head) < file.size, recognised)
            try:
                self._layout = recognise(file.path, lines, whole=len(head) >= file.size)
            except RecordingError:
                _refuse_long_line(file.path, head, more=len(head) < file.size)
                raise
            self._begin = 0
            for _ in range(self._layout.line):
                self._begin = head.index(b"\n", self._begin) + 1
            self._end = _end(self._stream, self._begin, file.size)
        except BaseException:
            os.close(self._stream)
            raise
        layout = self._layout
        super().__init__(file, layout.columns, (*recognised, *layout.recognised), first_line=layout.line + 1)

    @property
    def header_line(self) -> int:
        return self.columns[0].line

    def count(self, places: Sequence[int]) -> None:
        return None

    def starts(self, places: Sequence[int]) -> Sequence[int]:
        return [0]

    def blocks(self, places: Sequence[int], start: int = 0) -> Iterator[list[NDArray[Any]]]:
        at, line = self._begin, self.first_line
        parser = _Parser(self.file, self._layout, self._encoding, places)
        days = _Days()
        while at < self._end:
            piece = os.pread(self._stream, min(PIECE, self._end - at), at)
            if len(piece) < min(PIECE, self._end - at):
                self.file.check_unchanged()
            if at + len(piece) < self._end:
                piece = piece[: piece.rfind(b"\n") + 1]
                if not piece:
                    told = f"expected lines of at most {PIECE >> 20} MB, got a longer one"
                    raise RecordingError(self.path, line, told)
            columns = parser.parse(piece, line)
            yield [
                _instants(self.path, line, column, days) if self.columns[place].kind == "instant" else column
                for place, column in zip(places, columns, strict=True)
            ]
            at, line = at + len(piece), line + columns[0].size

    def close(self) -> None:
        if self._stream >= 0:
            os.close(self._stream)
            self._stream = -1


def _lines(file: RecordedFile, head: bytes, more: bool, recognised: list[str]) -> tuple[list[str], str]:
    """The lines at the beginning of a file, whole ones only, and the encoding."""
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise RecordingError(file.path, 1, "expected text in UTF-8, got UTF-16; export it as CSV in UTF-8")
    if more:
        head = head[: head.rfind(b"\n") + 1] or head
    encoding = "utf-8"
    try:
        text = head.decode("utf-8-sig")
    except UnicodeDecodeError:
        encoding = "latin-1"
        text = head.decode(encoding)
        recognised.append("text that is no UTF-8, taken as Latin-1")
    return [line.rstrip("\r") for line in text.split("\n")], encoding


def _refuse_long_line(path: Path, head: bytes, *, more: bool) -> None:
    """Raise where the beginning of a file, in which no rows were recognised, ends within a very long line."""
    line = head.rfind(b"\n") + 1
    if more and len(head) - line > LOOKED_AT // 2 and b"\r" not in head[line:]:
        told = f"expected short lines at first, got one of more than {LOOKED_AT // 2000} kB; check its rows"
        raise RecordingError(path, head.count(b"\n") + 1, told)


def _end(stream: int, begin: int, size: int) -> int:
    """Where the rows end: blank lines at the end of a file are none."""
    end = size
    while end > begin:
        first = max(begin, end - PIECE)
        piece = os.pread(stream, end - first, first)
        kept = len(piece.rstrip(b"\n\r "))
        end = first + kept
        if kept:
            break
    return end


@dataclass(frozen=True, slots=True)
class _Parser:
    """Parses rows into the wanted columns: float64, or texts of instants."""

    file: RecordedFile
    layout: Layout
    encoding: str
    places: Sequence[int]

    def parse(self, piece: bytes, line: int) -> list[NDArray[Any]]:
        """The columns of whole rows, of which the first stands in this line. RecordingError."""
        import pyarrow as pa
        from pyarrow import csv

        keys = [str(place) for place in range(len(self.layout.columns))]
        wanted = [keys[place] for place in self.places]
        kinds = {key: pa.float64() for key in wanted}
        kinds |= {keys[column_at]: pa.string() for column_at in self._texts}
        try:
            table = csv.read_csv(
                pa.BufferReader(pa.py_buffer(piece)),
                read_options=csv.ReadOptions(column_names=keys),
                parse_options=csv.ParseOptions(delimiter=self.layout.separator, ignore_empty_lines=False),
                convert_options=csv.ConvertOptions(
                    column_types=kinds,
                    include_columns=list(dict.fromkeys(wanted)),
                    decimal_point=self.layout.decimal,
                    null_values=[],
                ),
            )
        except (pa.ArrowInvalid, pa.ArrowKeyError) as error:
            self._refuse_bad_rows(piece, line)
            raise RecordingError(self.file.path, line, f"expected rows of numbers, got {error}") from None
        if b'"' in piece:
            # A quote that does not close takes the lines below into its cell.
            lines = piece.removesuffix(b"\n").count(b"\n") + 1
            if piece.count(b'"') % 2 or table.num_rows != lines:
                self._refuse_bad_rows(piece, line)
                told = "expected one row in each line, got a cell with lines in it"
                raise RecordingError(self.file.path, line, told)
        return [table.column(key).to_numpy() for key in wanted]

    @property
    def _texts(self) -> list[int]:
        return [place for place in self.places if self.layout.columns[place].kind == "instant"]

    def _refuse_bad_rows(self, piece: bytes, first: int) -> None:
        """Raise for the first rows that are wrong, slowly: only called where there is one."""
        found: list[RecordingError] = []
        for number, raw in enumerate(piece.removesuffix(b"\n").split(b"\n"), start=first):
            if (error := self._bad_row(raw.removesuffix(b"\r"), number)) is not None:
                found.append(error)
                if len(found) == MOST_TOLD:
                    break
        if found:
            error = found[0]
            raise RecordingError(error.path, error.line, error.told, error.column, found[1:])

    def _bad_row(self, raw: bytes, number: int) -> RecordingError | None:
        path, columns, separator = self.file.path, self.layout.columns, self.layout.separator
        try:
            row = raw.decode(self.encoding)
        except UnicodeDecodeError:
            told = "expected text in UTF-8, got something else; export it as CSV"
            return RecordingError(path, number, told)
        if number == 1:
            row = row.removeprefix("\ufeff")
        if "\r" in row:
            told = (
                "expected one row in each line, got a carriage return within it; end lines with a line feed"
            )
            return RecordingError(path, number, told)
        if row.count('"') % 2:
            told = "expected cells with numbers, got a quote that does not close"
            return RecordingError(path, number, told)
        cells = row.split(separator)
        if len(cells) != len(columns):
            told = wrong_count(len(columns), row, len(cells), separator, "the header has")
            return RecordingError(path, number, told)
        for place in self.places:
            cell = cells[place].strip(_BLANKS).strip('"').strip(_BLANKS)
            if columns[place].kind == "instant":
                good, what = cell.isascii(), "a time"
            else:
                good, what = is_number(cell, self.layout.decimal), "a number"
            if not good:
                got = f"'{cell[:40]}'" if cell else "an empty cell"
                told = f"expected {what} in '{columns[place].header}', got {got}"
                return RecordingError(path, number, told, place_in(row, separator, place))
        return None


@dataclass
class _Days:
    """How many midnights have passed, and the last time of day, from one piece of a file to the next."""

    count: int = 0
    last: Any = None


def _instants(path: Any, line: int, cells: NDArray[Any], days: _Days) -> NDArray[np.datetime64]:
    """Times of day or dates with times as instants, to the nanosecond; past midnight it is the next day."""
    texts = [str(cell).strip().strip('"').replace(",", ".").rstrip("Z") for cell in cells]
    if match := DAY_FIRST.fullmatch(texts[0]):
        found = [DAY_FIRST.fullmatch(text) for text in texts]
        texts = [f"{m[3]}-{m[2]}-{m[1]}T{m[4]}" if m else "" for m in found]
    clock = match is None and CLOCK.fullmatch(texts[0]) is not None
    if clock:
        texts = [f"1970-01-01T{text if text.find(':') >= 2 else '0' + text}" for text in texts]
    try:
        instants = _moments(texts)
    except ValueError:
        for place, text in enumerate(texts):
            try:
                _moments([text])
            except ValueError:
                told = f"expected a time as in the rows above, got '{str(cells[place])[:40]}'"
                raise RecordingError(path, line + place, told) from None
        raise
    if clock:
        before = instants[:1] if days.last is None else days.last
        passed = days.count + np.cumsum(np.diff(instants, prepend=before) < np.timedelta64(-12, "h"))
        days.count, days.last = int(passed[-1]), instants[-1:]
        instants = instants + passed * np.timedelta64(24, "h")
    return instants


def _moments(texts: Sequence[str]) -> NDArray[np.datetime64]:
    """Texts as instants. ValueError where one is none, or has a time zone (which would be dropped)."""
    with warnings.catch_warnings():
        warnings.simplefilter("error", UserWarning)
        try:
            return np.array(texts, "datetime64[ns]")
        except UserWarning as told:
            raise ValueError(str(told)) from None
