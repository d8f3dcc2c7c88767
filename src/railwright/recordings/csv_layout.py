"""How a CSV file is laid out: separator, decimal comma, header and units, told from its first rows."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import takewhile
from pathlib import Path

from railwright.recordings.columns import Column, Kind, is_unit, split_header
from railwright.recordings.errors import RecordingError

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
_NUMBERS = {decimal: re.compile(_NUMBER.format(re.escape(decimal)), re.ASCII) for decimal in ".,"}
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf(?:inity)?)", re.ASCII | re.IGNORECASE)
CLOCK = re.compile(r"\d{1,4}:\d\d(?::\d\d(?:[.,]\d+)?)?")
ISO = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d(?:[.,]\d+)?)?Z?")
DAY_FIRST = re.compile(r"(\d\d)\.(\d\d)\.(\d{4})[T ](\d\d:\d\d(?::\d\d(?:[.,]\d+)?)?)")
_INSTANTS = (CLOCK, ISO, DAY_FIRST)


@dataclass(frozen=True, slots=True)
class Layout:
    """Where the samples begin (line from 0), what parts their cells and how many there are, and the columns.

    recognised: what was recognised, for people.
    """

    line: int
    separator: str
    decimal: str
    columns: tuple[Column, ...]
    recognised: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Rows:
    """Rows of numbers: the first of them (line from 0), and how they are written."""

    line: int
    separator: str
    decimal: str
    cells: int


def recognise(path: Path, lines: Sequence[str], *, whole: bool) -> Layout:
    """The layout that the first lines of a file show; whole: there are no more.

    RecordingError where no rows of numbers are recognised, or where one above them is broken.
    """
    last = len(lines)
    while last and not lines[last - 1].strip():
        last -= 1
    if not last:
        raise RecordingError(path, 1, "expected rows of numbers below a header, got an empty file")
    lines = lines[:last]
    rows = _find_rows(path, lines, whole=whole)
    if rows.line and rows.separator == ONE_COLUMN and rows.decimal == ",":
        _refuse_decimal_commas(path, lines, rows)
    _refuse_bad_rows_above(path, lines, rows)
    columns, told = _columns(lines, rows)
    decimal = "point" if rows.decimal == "." else "comma"
    parted = f"cells parted by {_SEPARATORS[rows.separator]}, decimal {decimal}"
    return Layout(rows.line, rows.separator, rows.decimal, columns, (parted, told))


def is_number(cell: str, decimal: str) -> bool:
    """Whether a cell is a number to the parser of the rows, `nan` and `inf` included."""
    return bool(_NUMBERS[decimal].fullmatch(cell) or _NOT_FINITE.fullmatch(cell))


def place_in(row: str, separator: str, place: int) -> int:
    """Where a cell of a row begins, from 1, blanks before it left out."""
    cells = row.split(separator)
    before = sum(len(cell) + len(separator) for cell in cells[:place])
    return before + len(cells[place]) - len(cells[place].lstrip()) + 1


def wrong_count(cells: int, row: str, got: int, separator: str, others: str) -> str:
    """What is said of a row with another number of cells than the others, or than the header has."""
    if not row.strip():
        return f"expected {cells} columns as {others}, got an empty line; remove it"
    point = "; write decimals with a point" if separator == "," and got > cells else ""
    return f"expected {cells} columns as {others}, got {got}{point}"


def _cells(line: str, separator: str) -> list[str]:
    return [cell.strip().strip('"').strip() for cell in line.split(separator)]


def _is_sample(cell: str, decimal: str) -> bool:
    return bool(_NUMBERS[decimal].fullmatch(cell)) or any(each.fullmatch(cell) for each in _INSTANTS)


def _kind_of(cell: str, decimal: str) -> Kind:
    if _NUMBERS[decimal].fullmatch(cell):
        return "number"
    return "instant" if any(each.fullmatch(cell) for each in _INSTANTS) else "text"


def _find_rows(path: Path, lines: Sequence[str], *, whole: bool) -> _Rows:
    """The first rows with equally many cells, most of them numbers or times: several, or the last of all."""
    for number in range(len(lines)):
        best: tuple[int, _Rows] | None = None
        rows = lines[number : number + ROWS]
        if not rows[0].strip() or rows[0].startswith("#"):
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
                enough = 2 * count >= width if len(rows) > 1 else whole and count == width > 1
                if same and enough and (best is None or count > best[0]):
                    best = count, _Rows(number, separator, decimal, width)
        if best is not None:
            return best[1]
    _refuse_bad_row_below(path, lines)
    if whole and _is_header(lines[-1]):
        raise RecordingError(path, len(lines) + 1, "expected at least two samples below the header, got none")
    _refuse_not_finite(path, lines)
    told = "expected rows of numbers below a header, parted by commas, semicolons or tabs, got none"
    raise RecordingError(path, 1, told if whole else f"{told} in {len(lines):,} lines")


def _is_header(line: str) -> bool:
    """Whether a line names columns, one of them with a unit that is known."""
    cells = [_cells(line, separator) for separator in _SEPARATORS]
    return any(is_unit(split_header(cell)[1]) for row in cells if len(row) > 1 for cell in row)


def _refuse_bad_row_below(path: Path, lines: Sequence[str]) -> None:
    """Raise for the first bad row near below one that holds nothing but numbers or times, if there is one."""
    for number, line in enumerate(lines):
        for separator in _SEPARATORS:
            first = _cells(line, separator)
            if separator == ONE_COLUMN or len(first) < 2:
                continue
            for decimal in ".,":
                if separator == decimal or not all(_is_sample(cell, decimal) for cell in first):
                    continue
                for later in range(number + 1, min(number + ROWS, len(lines))):
                    cells = _cells(lines[later], separator)
                    if len(cells) != len(first):
                        _refuse_count(path, lines[later], later, separator, len(first))
                    if not all(_is_sample(cell, decimal) for cell in cells):
                        _refuse_cell(path, lines[later], later, separator, [True] * len(first), decimal)


def _refuse_not_finite(path: Path, lines: Sequence[str]) -> None:
    """Raise for the first row of numbers or times alone of which some are not finite, if there is one."""
    for number, line in enumerate(lines):
        for separator in _SEPARATORS:
            cells = _cells(line, separator)
            odd = [place for place, cell in enumerate(cells) if _NOT_FINITE.fullmatch(cell)]
            if odd and all(place in odd or _is_sample(cell, ".") for place, cell in enumerate(cells)):
                told = f"expected a finite number, got '{cells[odd[0]]}'; correct it or remove the row"
                raise RecordingError(path, number + 1, told, place_in(line, separator, odd[0]))


def _refuse_bad_rows_above(path: Path, lines: Sequence[str], rows: _Rows) -> None:
    """Raise where the row above the samples is itself one with a bad cell, and no names or units.

    Its good cells are numbers, as those below; names may be whole numbers where nothing stands above them.
    """
    decimal, samples = rows.decimal, _cells(lines[rows.line], rows.separator)
    wanted = [_is_sample(cell, decimal) for cell in samples]
    full = sum(wanted)

    def good_in(cells: Sequence[str]) -> int:
        return sum(own and _is_sample(cell, decimal) for own, cell in zip(wanted, cells, strict=False))

    # From the samples upwards: line, cells, and how many of them are samples where samples belong.
    block: list[tuple[int, list[str], int]] = []
    for number in range(rows.line - 1, -1, -1):
        cells = _cells(lines[number], rows.separator)
        if not any(cells) or len(cells) != rows.cells or lines[number].startswith("#"):
            break
        block.append((number, cells, good_in(cells)))
    if not block:
        if rows.line:
            _refuse_another_count(path, lines, rows, wanted)
        return
    _, cells, count = block[0]
    if count:
        # A name, or the unit '1', may be a whole number; samples above are none of a header.
        whole = all(not _is_sample(cell, decimal) or cell.isdecimal() for cell in cells)
        others = [cell for cell in cells if not _is_sample(cell, decimal)]
        units = any(others) and all(not cell or _is_unit_cell(cell) for cell in others)
        if whole and (len(block) == 1 or (units and not block[1][2])):
            return
    elif (
        len(block) < 3
        or block[1][2] != full
        or all(own for _, _, own in block[1:])
        or any(split_header(cell)[1] or Column(cell).looks_like_time for cell in cells)
    ):
        return
    broken = [block[0], *takewhile(lambda row: row[2], block[1:])]
    for number, _, count in reversed(broken):
        if count != full:
            _refuse_cell(path, lines[number], number, rows.separator, wanted, decimal)


def _refuse_another_count(path: Path, lines: Sequence[str], rows: _Rows, wanted: Sequence[bool]) -> None:
    """Raise where lines of numbers above the samples, or empty ones, have another number of cells.

    They would be passed over with all that stands above them.
    """
    separator, odd = rows.separator, None
    for number in range(rows.line - 1, max(-1, rows.line - 1 - ROWS), -1):
        cells = _cells(lines[number], separator)
        numbers = [_is_sample(cell, rows.decimal) for cell in cells]
        if lines[number].startswith("#"):
            break
        if odd is not None and numbers == wanted:
            _refuse_count(path, lines[odd], odd, separator, rows.cells)
        if any(cells) and 2 * sum(numbers) < len(cells):
            if odd is not None and lines[odd].strip() and len(cells) == rows.cells > 1:
                _refuse_count(path, lines[odd], odd, separator, rows.cells)
            break
        odd = number
    above = _cells(lines[rows.line - 1], separator)
    if rows.line == len(lines) - 1 and len(above) > 1 and all(_is_sample(c, rows.decimal) for c in above):
        _refuse_count(path, lines[rows.line], rows.line, separator, len(above))


def _refuse_decimal_commas(path: Path, lines: Sequence[str], rows: _Rows) -> None:
    """Raise where what looks like one column with decimal commas is several columns, with a bad row."""
    cells = len(lines[rows.line - 1].split(","))
    near = range(rows.line, min(rows.line + ROWS, len(lines)))
    if cells < 2 or all(len(lines[number].split(",")) != cells for number in near):
        return
    for number in near:
        if len(lines[number].split(",")) != cells:
            _refuse_count(path, lines[number], number, ",", cells)
        _refuse_cell(path, lines[number], number, ",", [True] * cells, ".")


def _refuse_count(path: Path, row: str, number: int, separator: str, cells: int) -> None:
    got = len(row.split(separator))
    raise RecordingError(path, number + 1, wrong_count(cells, row, got, separator, "in the other rows"))


def _refuse_cell(
    path: Path, row: str, number: int, separator: str, wanted: Sequence[bool], decimal: str
) -> None:
    """Raise for the first cell of a row (line counted from 0) that is no number or time where one belongs."""
    for place, (cell, is_wanted) in enumerate(zip(_cells(row, separator), wanted, strict=True)):
        if is_wanted and not _is_sample(cell, decimal):
            got = f"'{cell[:40]}'" if cell else "an empty cell"
            told = f"expected a number as in the other rows, got {got}; correct it or remove the row"
            raise RecordingError(path, number + 1, told, place_in(row, separator, place))


def _is_unit_cell(cell: str) -> bool:
    """Whether a cell is a unit that is known, or anything in brackets."""
    return is_unit(cell.strip("[]() ")) or (cell[0], cell[-1]) in (("[", "]"), ("(", ")"))


def _columns(lines: Sequence[str], rows: _Rows) -> tuple[tuple[Column, ...], str]:
    """The columns' names and units from the lines above the samples, and where they were found."""
    kinds = [_kind_of(cell, rows.decimal) for cell in _cells(lines[rows.line], rows.separator)]
    above = [
        (number, _cells(lines[number].lstrip("#"), rows.separator))
        for number in range(rows.line - 1, max(-1, rows.line - 4), -1)
    ]
    above = [(number, cells) for number, cells in above if len(cells) == rows.cells and any(cells)]
    if not above:
        names = [f"column {place}" for place in range(1, rows.cells + 1)]
        told = "no header: columns are called by their numbers"
        line = rows.line + 1
        return tuple(
            Column(name, "", kind, name, line) for name, kind in zip(names, kinds, strict=True)
        ), told
    number, cells = above[0]
    if len(above) > 1 and all(not cell or _is_unit_cell(cell) for cell in cells):
        named, names = above[1]
        units = [cell.strip("[]() ") for cell in cells]
        pairs = list(zip(names, units, strict=True))
        told = f"names in line {named + 1}, units in line {number + 1}"
        number, cells = named, names
    else:
        pairs = [split_header(cell) for cell in cells]
        told = f"names and units in line {number + 1}"
    made = [
        Column(name, unit, kind, cell, number + 1, place_in(lines[number], rows.separator, place))
        for place, ((name, unit), kind, cell) in enumerate(zip(pairs, kinds, cells, strict=True))
    ]
    return tuple(made), told
