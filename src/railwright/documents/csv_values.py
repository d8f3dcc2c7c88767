"""Columns of numbers in a CSV file, read fast, with the line of the first thing that is wrong.

Used for every recording: those that an evaluation takes beside a run's own record, and those that a procedure
plays. What separates the cells, and which columns are wanted, is found out before.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from railwright.printable import printable

if TYPE_CHECKING:
    from numpy.typing import NDArray


class RecordingError(ValueError):
    """A recording that cannot be used: one line `file:line: what was expected, what came, what to do`, with
    the column after the line where it is a cell.
    """

    def __init__(self, path: Path, line: int, told: str, column: int | None = None) -> None:
        place = f"{line}" if column is None else f"{line}:{column}"
        super().__init__(printable(f"{path}:{place}: {told}", one_line=True))
        self.path, self.line, self.column, self.told = path, line, column or 1, told


def column_of(row: str, separator: str, place: int) -> int:
    """Where a cell of a row begins, from 1, blanks before it left out."""
    cells = row.split(separator)
    before = sum(len(cell) + len(separator) for cell in cells[:place])
    return before + len(cells[place]) - len(cells[place].lstrip()) + 1


@dataclass(frozen=True, slots=True)
class Wanted:
    """A column that is read: its place, and what multiplies its numbers. text: cells are no numbers."""

    position: int
    factor: float = 1.0
    text: bool = False


@dataclass(frozen=True, slots=True)
class Rows:
    """The part of a file, in memory or mapped into it, that holds the rows."""

    data: Any
    begin: int
    end: int

    def lines(self) -> Iterator[str]:
        """One after the other, without taking the whole file apart."""
        here = self.begin
        while here < self.end:
            stop = self.data.find(b"\n", here, self.end)
            stop = self.end if stop < 0 else stop
            yield self.data[here:stop].decode(errors="replace").rstrip("\r")
            here = stop + 1


def read_values(
    path: Path,
    header_line: int,
    rows: Rows,
    separator: str,
    decimal: str,
    names: Sequence[str],
    columns: Sequence[Wanted],
) -> list[NDArray[Any]]:
    """The columns, each times its factor; RecordingError at the first line that is wrong.

    header_line: the line before the rows. Numbers are finite, float64; cells of text are strings.
    """
    import numpy as np
    import pyarrow as pa
    from pyarrow import csv

    keys = [str(position) for position in range(len(names))]
    wanted = [keys[column.position] for column in columns]
    try:
        table = csv.read_csv(
            pa.BufferReader(pa.py_buffer(rows.data).slice(rows.begin, rows.end - rows.begin)),
            read_options=csv.ReadOptions(column_names=keys),
            parse_options=csv.ParseOptions(delimiter=separator, ignore_empty_lines=False),
            convert_options=csv.ConvertOptions(
                column_types={
                    key: pa.string() if column.text else pa.float64()
                    for key, column in zip(wanted, columns, strict=True)
                },
                include_columns=wanted,
                decimal_point=decimal,
                null_values=[],
            ),
        )
    except (pa.ArrowInvalid, pa.ArrowKeyError) as error:
        _find_bad_line(path, header_line, rows, separator, decimal, names, columns)
        raise RecordingError(path, header_line + 1, f"expected rows of numbers, got {error}") from None
    arrays: list[NDArray[Any]] = []
    for key, column in zip(wanted, columns, strict=True):
        values = table.column(key).to_numpy()
        arrays.append(values if column.text else values * column.factor)
        if column.text:
            continue
        bad = np.flatnonzero(~np.isfinite(values))
        if bad.size:
            line = header_line + 1 + int(bad[0])
            raise RecordingError(
                path, line, f"expected a finite number in '{names[column.position]}', got another"
            )
    if arrays[0].size < 2:
        raise RecordingError(path, header_line + 1, f"expected at least two samples, got {arrays[0].size}")
    return arrays


def _find_bad_line(
    path: Path,
    header_line: int,
    rows: Rows,
    separator: str,
    decimal: str,
    names: Sequence[str],
    columns: Sequence[Wanted],
) -> None:
    """Raise for the first line that is wrong, slowly: only called where there is one."""
    for number, row in enumerate(rows.lines(), start=header_line + 1):
        cells = row.split(separator)
        if len(cells) != len(names):
            got = "an empty line" if not row.strip() else f"{len(cells)}"
            raise RecordingError(path, number, f"expected {len(names)} columns as the header has, got {got}")
        for column in columns:
            if column.text:
                continue
            cell = cells[column.position].strip().strip('"')
            try:
                float(cell.replace(",", ".") if decimal == "," else cell)
            except ValueError:
                name = names[column.position]
                raise RecordingError(
                    path,
                    number,
                    f"expected a number in '{name}', got '{cell[:40]}'",
                    column_of(row, separator, column.position),
                ) from None
