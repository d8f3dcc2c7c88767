"""CSV files that a document names: columns of numbers under a header of names with units."""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping, Sequence

from railwright.documents.files import content, decoded
from railwright.documents.nodes import Unreadable
from railwright.documents.sources import Location, Problem
from railwright.physics.loads.law import Columns
from railwright.quantities import parse_value, quoted

MOST_ROWS = 200_000
MOST_PROBLEMS = 5
"""Rows of one file of which it is said what is wrong."""
Wanted = Sequence[Mapping[str, str]]
"""For each column the names that it may have, with the SI unit of each."""


def read_columns(
    file: str, wanted: Wanted, named_at: Location
) -> tuple[bytes, Columns | None, list[Problem]]:
    """Bytes of a CSV file, its columns in SI units (None where it is broken), and what is wrong with it.

    The header names each wanted column, with its unit after '_' (`time_ms`) or without for the SI unit. Cells
    are numbers with a decimal point, separated by commas or semicolons; rows are in the order of the first
    column. Other columns are left alone. named_at: where a document names the file.
    """
    try:
        raw = content(file, "CSV file", named_at)
        text = decoded(raw, file)
    except Unreadable as error:
        return b"", None, [error.problem]
    lines = text.splitlines()
    begins = next((number for number, line in enumerate(lines) if line.strip()), None)
    if begins is None:
        message = f"expected a header such as '{_example(wanted)}', got an empty file"
        return raw, None, [Problem(Location(file, 1, 1), message)]
    separator = ";" if ";" in lines[begins] else ","
    header = next(csv.reader([lines[begins]], delimiter=separator))
    found, problems = _header(file, begins + 1, lines[begins], header, wanted)
    if problems:
        return raw, None, problems
    rows: list[tuple[float, ...]] = []
    for number, line in enumerate(lines[begins + 1 :], start=begins + 2):
        if not line.strip():
            continue
        if len(rows) >= MOST_ROWS:
            message = (
                f"expected at most {MOST_ROWS} rows, got more; leave out rows that lie on straight lines"
            )
            return raw, None, [*problems, Problem(Location(file, number, 1), message)]
        row = _row(file, number, line, separator, found, len(header))
        if isinstance(row, Problem):
            problems.append(row)
        elif rows and row[0] < rows[-1][0]:
            what = found[0][1]
            message = f"expected '{what}' not below that of the row above, got less; put the rows in order"
            problems.append(
                Problem(Location(file, number, 1 + _offset(line, separator, found[0][0])), message)
            )
        else:
            rows.append(row)
        if len(problems) >= MOST_PROBLEMS:
            return raw, None, problems
    if not problems and (len(rows) < 2 or rows[-1][0] <= rows[0][0]):
        message = f"expected at least two rows that differ in '{found[0][1]}', got {len(rows) or 'none'}"
        problems.append(Problem(Location(file, len(lines), 1), message))
    names = tuple(name for _, name, _ in found)
    return raw, None if problems else Columns(names, tuple(rows)), problems


_Found = tuple[int, str, float]
"""Place of a column, its name, and its unit in SI units."""


def _header(
    file: str, line: int, text: str, header: list[str], wanted: Wanted
) -> tuple[list[_Found], list[Problem]]:
    found: list[_Found] = []
    separator = ";" if ";" in text else ","
    for names in wanted:
        places: list[_Found] = []
        for place, cell in enumerate(header):
            name, _, unit = cell.strip().partition("_")
            if name not in names:
                continue
            try:
                factor = parse_value(f"1 {unit}", names[name]) if unit else 1.0
            except ValueError:
                column = 1 + _offset(text, separator, place)
                message = (
                    f"expected a unit after '{name}_' such as '{name}_{names[name]}', got {quoted(cell)}"
                )
                return [], [Problem(Location(file, line, column), message)]
            places.append((place, name, factor))
        if len(places) != 1:
            # Without any of the columns it may be another file: what it says is not repeated.
            others = quoted(text.strip()) if found else "none"
            got = others if not places else " and ".join(quoted(header[p[0]]) for p in places)
            either = " or ".join(f"'{name}_{unit}'" for name, unit in names.items())
            message = f"expected one column {either} in the header, got {got}"
            return [], [Problem(Location(file, line, 1), message)]
        found += places
    return found, []


def _row(
    file: str, number: int, line: str, separator: str, found: list[_Found], width: int
) -> tuple[float, ...] | Problem:
    try:
        cells = next(csv.reader([line], delimiter=separator, strict=True))
    except csv.Error:
        return Problem(
            Location(file, number, 1), "expected cells with numbers, got a quote that does not close"
        )
    if len(cells) != width:
        remedy = "; write decimals with a point" if separator == "," and len(cells) > width else ""
        message = f"expected {width} cells as in the header, got {len(cells)}{remedy}"
        return Problem(Location(file, number, 1), message)
    values = []
    for place, name, factor in found:
        cell = cells[place].strip()
        try:
            value = float(cell) * factor
        except ValueError:
            value = math.nan
        if not math.isfinite(value) or "_" in cell:
            message = f"expected a number in '{name}', got {quoted(cell) if cell else 'nothing'}"
            if cell.count(",") == 1 and cell.replace(",", "").lstrip("+-").isdigit():
                message += f"; write '{cell.replace(',', '.')}'"
            return Problem(Location(file, number, 1 + _offset(line, separator, place)), message)
        values.append(value)
    return tuple(values)


def _offset(line: str, separator: str, place: int) -> int:
    """Characters before a cell and the blanks at its beginning."""
    cells = line.split(separator)
    before = sum(len(cell) + 1 for cell in cells[:place])
    cell = cells[place] if place < len(cells) else ""
    return before + len(cell) - len(cell.lstrip())


def _example(wanted: Wanted) -> str:
    return ",".join(f"{name}_{unit}" for name, unit in (next(iter(names.items())) for names in wanted))
