"""CSV recordings: separator, decimal comma, header, units and the format of the time, recognised from the
rows.

The file is memory-mapped: only the wanted columns of it are ever in memory.
"""

from __future__ import annotations

import mmap
import re
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import takewhile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from railwright.documents.csv_values import RecordingError, Rows, Wanted, column_of, read_values
from railwright.documents.recording_table import Head, Table, is_unit, split_head

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

LOOKED_AT = 200_000
"""Bytes at the beginning of a file from which its layout is told."""

ROWS = 6
"""So many rows of numbers in a row are samples; fewer where the file ends."""

ONE_COLUMN = "\x1f"
_SEPARATORS = {
    ";": "semicolons",
    "\t": "tabs",
    ",": "commas",
    " ": "blanks",
    ONE_COLUMN: "nothing: one column",
}
_NUMBER = r"[+-]?(?:\d+(?:{0}\d*)?|{0}\d+)(?:[eE][+-]?\d+)?"
_NUMBERS = {decimal: re.compile(_NUMBER.format(re.escape(decimal))) for decimal in ".,"}
_CLOCK = re.compile(r"\d{1,4}:\d\d(?::\d\d(?:[.,]\d+)?)?")
_ISO = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d(?:[.,]\d+)?)?Z?")
_DAY_FIRST = re.compile(r"(\d\d)\.(\d\d)\.(\d{4})[T ](\d\d:\d\d(?::\d\d(?:[.,]\d+)?)?)")
_FORMATS = {_CLOCK: "hours:minutes:seconds", _ISO: "date and time", _DAY_FIRST: "day.month.year and time"}


@dataclass(frozen=True, slots=True)
class _Layout:
    """Where the samples begin (line from 0), what parts their cells, and how many there are."""

    line: int
    separator: str
    decimal: str
    cells: int


def open_csv(path: Path) -> Table:
    """The table of a CSV file. RecordingError where no rows of numbers are recognised in it."""
    try:
        with path.open("rb") as stream:
            data: Any = mmap.mmap(stream.fileno(), 0, access=mmap.ACCESS_READ)
    except ValueError:
        raise RecordingError(path, 1, "expected rows of numbers, got an empty file") from None
    guessed: list[str] = []
    lines = _lines(path, bytes(data[:LOOKED_AT]), len(data) > LOOKED_AT, guessed)
    layout = _layout(path, lines)
    _refuse_bad_rows_above(path, lines, layout)
    heads, told = _heads(lines, layout)
    decimal = "point" if layout.decimal == "." else "comma"
    guessed += [f"cells parted by {_SEPARATORS[layout.separator]}, decimal {decimal}", told]
    first = _cells(lines[layout.line], layout.separator)
    start = 0
    for _ in range(layout.line):
        start = data.find(b"\n", start) + 1
    names = [head.name for head in heads]

    def read(places: Sequence[int]) -> list[NDArray[Any]]:
        text = [_NUMBERS[layout.decimal].fullmatch(first[place]) is None for place in places]
        wanted = [Wanted(place, text=is_text) for place, is_text in zip(places, text, strict=True)]
        rows = Rows(data, start, _end(data, start))
        columns = read_values(path, layout.line, rows, layout.separator, layout.decimal, names, wanted)
        return [
            _instants(path, layout.line + 1, column) if is_text else column
            for column, is_text in zip(columns, text, strict=True)
        ]

    return Table(path, heads, read, None, layout.line + 1, tuple(guessed))


def _end(data: Any, start: int) -> int:
    """Where the rows end: blank lines at the end of a file are none."""
    end = len(data)
    while end > start and data[end - 1 : end] in (b"\n", b"\r", b" "):
        end -= 1
    return end


def _lines(path: Path, head: bytes, more: bool, guessed: list[str]) -> list[str]:
    """The lines at the beginning of a file, whole ones only."""
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise RecordingError(path, 1, "expected text in UTF-8, got UTF-16; export it as CSV in UTF-8")
    if more:
        head = head[: head.rfind(b"\n") + 1] or head
    try:
        text = head.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = head.decode("latin-1")
        guessed.append("text that is no UTF-8, taken as Latin-1")
    return [line.rstrip("\r") for line in text.split("\n")]


def _cells(line: str, separator: str) -> list[str]:
    return [cell.strip().strip('"').strip() for cell in line.split(separator)]


def _is_sample(cell: str, decimal: str) -> bool:
    return bool(_NUMBERS[decimal].fullmatch(cell)) or any(each.fullmatch(cell) for each in _FORMATS)


def _layout(path: Path, lines: Sequence[str]) -> _Layout:
    """The first line from which several rows have equally many cells, most of them numbers or times."""
    last = len(lines)
    while last and not lines[last - 1].strip():
        last -= 1
    for number in range(last):
        best: tuple[int, _Layout] | None = None
        rows = lines[number : min(number + ROWS, last)]
        if not rows[0].strip() or rows[0].startswith("#") or len(rows) < 2:
            continue
        for separator in _SEPARATORS:
            for decimal in ".,":
                if separator == decimal:
                    continue
                cells = [_cells(row, separator) for row in rows]
                width = len(cells[0])
                if (width == 1) != (separator == ONE_COLUMN):
                    continue
                kinds = [[_is_sample(cell, decimal) for cell in row] for row in cells]
                same = all(
                    len(row) == width and kind == kinds[0] for row, kind in zip(cells, kinds, strict=True)
                )
                count = sum(kinds[0])
                if same and 2 * count >= width and (best is None or count > best[0]):
                    best = count, _Layout(number, separator, decimal, width)
        if best is not None:
            return best[1]
    _refuse_bad_cell(path, lines[:last])
    raise RecordingError(
        path, 1, "expected rows of numbers below a header, parted by commas, semicolons or tabs, got none"
    )


def _refuse_bad_rows_above(path: Path, lines: Sequence[str], layout: _Layout) -> None:
    """Raise where the row above the samples is itself one with a bad cell, and no names or units.

    Its good cells are numbers, as those below; names may be whole numbers where nothing stands above them.
    """
    decimal, samples = layout.decimal, _cells(lines[layout.line], layout.separator)
    wanted = [_is_sample(cell, decimal) for cell in samples]
    # From the samples upwards: line, cells, and how many of them are samples where samples belong.
    block: list[tuple[int, list[str], int]] = []
    for number in range(layout.line - 1, -1, -1):
        cells = _cells(lines[number], layout.separator)
        if not any(cells) or len(cells) != layout.cells or lines[number].startswith("#"):
            break
        good = [own and _is_sample(cell, decimal) for own, cell in zip(wanted, cells, strict=True)]
        block.append((number, cells, sum(good)))
    if not block:
        return
    full = sum(wanted)
    _, cells, count = block[0]
    if count:
        others = [cell for cell in cells if not _is_sample(cell, decimal)]
        names = len(block) == 1 and all(not _is_sample(cell, decimal) or cell.isdecimal() for cell in cells)
        units = any(others) and all(not cell or _is_unit_cell(cell) for cell in others)
        if names or units:
            return
    elif (
        len(block) < 3
        or block[1][2] != full
        or all(own for _, _, own in block[1:])
        or any(split_head(cell).unit or split_head(cell).looks_like_time for cell in cells)
    ):
        return
    rows = [block[0], *takewhile(lambda row: row[2], block[1:])]
    for number, _, count in reversed(rows):
        if count != full:
            _refuse(path, lines[number], number, layout.separator, wanted, decimal)


def _refuse_bad_cell(path: Path, lines: Sequence[str]) -> None:
    """Raise for the first bad cell below a row that holds nothing but numbers or times, if there is one."""
    for number, line in enumerate(lines):
        for separator in _SEPARATORS:
            for decimal in ".,":
                first = _cells(line, separator)
                if separator in (decimal, ONE_COLUMN) or len(first) < 2:
                    continue
                if not all(_is_sample(cell, decimal) for cell in first):
                    continue
                for later in range(number + 1, len(lines)):
                    cells = _cells(lines[later], separator)
                    bad = len(cells) == len(first) and not all(_is_sample(cell, decimal) for cell in cells)
                    if bad:
                        _refuse(path, lines[later], later, separator, [True] * len(first), decimal)


def _refuse(path: Path, row: str, number: int, separator: str, wanted: Sequence[bool], decimal: str) -> None:
    """Raise for the first cell of a row (line counted from 0) that is no number or time where one belongs."""
    for place, (cell, is_wanted) in enumerate(zip(_cells(row, separator), wanted, strict=True)):
        if is_wanted and not _is_sample(cell, decimal):
            got = f"'{cell[:40]}'" if cell else "an empty cell"
            told = f"expected a number as in the other rows, got {got}; correct it or remove the row"
            raise RecordingError(path, number + 1, told, column_of(row, separator, place))


def _is_unit_cell(cell: str) -> bool:
    """Whether a cell is a unit that is known, or anything in brackets."""
    return is_unit(cell.strip("[]() ")) or (cell[0], cell[-1]) in (("[", "]"), ("(", ")"))


def _heads(lines: Sequence[str], layout: _Layout) -> tuple[tuple[Head, ...], str]:
    """The columns' names and units from the lines above the samples, and where they were found."""
    above = [
        (number, _cells(lines[number].lstrip("#"), layout.separator))
        for number in range(layout.line - 1, max(-1, layout.line - 4), -1)
    ]
    above = [(number, cells) for number, cells in above if len(cells) == layout.cells and any(cells)]
    if not above:
        names = tuple(Head(f"column {place}") for place in range(1, layout.cells + 1))
        return names, "no header: columns are called by their numbers"
    number, cells = above[0]
    if len(above) > 1 and all(not cell or _is_unit_cell(cell) for cell in cells):
        named, names_there = above[1]
        units = [cell.strip("[]() ") for cell in cells]
        heads = tuple(Head(name, unit) for name, unit in zip(names_there, units, strict=True))
        return heads, f"names in line {named + 1}, units in line {number + 1}"
    return tuple(split_head(cell) for cell in cells), f"names and units in line {number + 1}"


def _instants(path: Path, line: int, cells: NDArray[Any]) -> NDArray[np.datetime64]:
    """Times of day or dates with times as instants, to the nanosecond; past midnight it is the next day."""
    import numpy as np

    texts = [str(cell).strip().strip('"').replace(",", ".").rstrip("Z") for cell in cells]
    if match := _DAY_FIRST.fullmatch(texts[0]):
        found = [_DAY_FIRST.fullmatch(text) for text in texts]
        texts = [f"{m[3]}-{m[2]}-{m[1]}T{m[4]}" if m else "" for m in found]
    clock = match is None and _CLOCK.fullmatch(texts[0]) is not None
    if clock:
        texts = [f"1970-01-01T{text if text.find(':') >= 2 else '0' + text}" for text in texts]
    try:
        instants = _moments(texts)
    except ValueError:
        for place, text in enumerate(texts):
            try:
                _moments([text])
            except ValueError:
                raise RecordingError(
                    path,
                    line + place,
                    f"expected a time as in the rows above, got '{str(cells[place])[:40]}'",
                ) from None
        raise
    if clock:
        days = np.cumsum(np.diff(instants, prepend=instants[:1]) < np.timedelta64(-12, "h"))
        instants = instants + days * np.timedelta64(24, "h")
    return instants


def _moments(texts: Sequence[str]) -> NDArray[np.datetime64]:
    """Texts as instants. ValueError where one is none, or has a time zone (which would be dropped)."""
    import numpy as np

    with warnings.catch_warnings():
        warnings.simplefilter("error", UserWarning)
        try:
            return np.array(texts, "datetime64[ns]")
        except UserWarning as told:
            raise ValueError(str(told)) from None
