"""A sequence as a table: rows of dwell, voltage, current limit and way, read from text and written to it.

Figures stay as they are written: a decimal is turned into the nearest float, and the shortest decimal that
gives that float again is written. No numpy here, as in `shapes`.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Context, Decimal, localcontext
from typing import Literal

from railwright.near_words import hint
from railwright.waveforms.shapes import Hold, Jump, Limit, Line, Piece, Repeat

MOST_ROWS = 100_000
"""Rows that one table may have."""

_SCALES = {
    "dwell": {"s": "1", "ms": "0.001", "us": "0.000001", "min": "60"},
    "voltage": {"V": "1", "mV": "0.001", "kV": "1000"},
    "limit": {"A": "1", "mA": "0.001", "uA": "0.000001"},
}
"""Column -> its units, and what of the SI unit each is."""

_EXACT = Context(prec=100)
"""Digits enough for any cell that is taken, times its unit."""

HEADER = ("dwell_s", "voltage_V", "limit_A", "way")
"""The columns that are written."""


@dataclass(frozen=True, slots=True)
class TableRow:
    """To `voltage` [V], at once and for `dwell` (step), or in a straight line over of `dwell` [s]
    (line). limit: current limit from its beginning on [A]; None: as before.
    """

    dwell: float
    voltage: float
    limit: float | None
    way: Literal["step", "line"]


class TableError(ValueError):
    """What is wrong with a table. line, column: where, from 1."""

    def __init__(self, line: int, column: int, message: str) -> None:
        super().__init__(message)
        self.line, self.column = line, column


def read_table(text: str) -> tuple[TableRow, ...]:
    """The rows of a table in CSV: a header of `name_unit` columns in any order, commas or semicolons between.

    dwell and voltage must be there; limit (empty: as before) and way (step or line; left out: step) may be.
    With semicolons a figure may have a decimal comma. TableError with the place of what is wrong.
    """
    lines = text.lstrip("\ufeff").splitlines()
    if not lines or not lines[0].strip():
        raise TableError(1, 1, f"expected a header such as '{','.join(HEADER)}', got none; add it")
    separator = ";" if ";" in lines[0] else ","
    columns = _columns(_cells(lines[0], separator))
    rows: list[TableRow] = []
    for number, line in enumerate(lines[1:], start=2):
        if not line.strip():
            continue
        cells = _cells(line, separator)
        if len(cells) != len(columns):
            told = f"expected {len(columns)} cells as in the header, got {len(cells)}; correct the row"
            raise TableError(number, 1, told)
        if len(rows) == MOST_ROWS:
            raise TableError(number, 1, f"expected at most {MOST_ROWS:,} rows, got more; make it two tables")
        rows.append(_row(number, columns, cells, separator))
    if not rows:
        raise TableError(len(lines), 1, "expected rows below the header, got none; add one")
    return tuple(rows)


def _cells(line: str, separator: str) -> list[tuple[int, str]]:
    """The cells of a line, each with its column in the text, from 1."""
    found, at = [], 1
    for cell in next(csv.reader([line], delimiter=separator), []):
        found.append((at + len(cell) - len(cell.lstrip()), cell.strip()))
        at += len(cell) + 1
    return found


def _columns(cells: Sequence[tuple[int, str]]) -> list[tuple[str, str]]:
    """(column, its unit) for each cell of the header."""
    found: list[tuple[str, str]] = []
    for at, cell in cells:
        name, _, unit = cell.partition("_")
        if name == "way" and not unit:
            found.append(("way", ""))
        elif name in _SCALES and unit in _SCALES[name]:
            found.append((name, unit))
        else:
            known = [f"{each}_{unit}" for each, units in _SCALES.items() for unit in units] + ["way"]
            meant = hint(cell, known) or f" ({', '.join(HEADER)})"
            raise TableError(1, at, f"expected a column of a table, got '{cell}'{meant}")
    names = [name for name, _ in found]
    for name in ("dwell", "voltage"):
        if name not in names:
            raise TableError(1, 1, f"expected a column '{name}_…', got none; add it")
    for number, name in enumerate(names):
        if name in names[:number]:
            raise TableError(1, cells[number][0], f"expected one column of '{name}', got two; remove one")
    return found


def _row(
    line: int, columns: Sequence[tuple[str, str]], cells: Sequence[tuple[int, str]], separator: str
) -> TableRow:
    values: dict[str, float] = {}
    way: Literal["step", "line"] = "step"
    for (name, unit), (at, cell) in zip(columns, cells, strict=True):
        if name == "way":
            if cell not in ("", "step", "line"):
                raise TableError(line, at, f"expected step or line, got '{cell}'; correct it")
            way = "line" if cell == "line" else "step"
        elif cell or name != "limit":
            values[name] = _figure(line, at, name, unit, cell, separator)
    if values["dwell"] < 0.0 or (way == "line" and values["dwell"] == 0.0):
        at = next(at for (name, _), (at, _) in zip(columns, cells, strict=True) if name == "dwell")
        least = "above zero for a line" if way == "line" else "of zero or more"
        raise TableError(line, at, f"expected a dwell {least}, got {values['dwell']:g} s; correct it")
    if values.get("limit", 1.0) <= 0.0:
        at = next(at for (name, _), (at, _) in zip(columns, cells, strict=True) if name == "limit")
        raise TableError(line, at, "expected a current limit above zero, got another; correct it")
    return TableRow(values["dwell"], values["voltage"], values.get("limit"), way)


_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)


def _figure(line: int, at: int, name: str, unit: str, cell: str, separator: str) -> float:
    """A figure in its SI unit: the float that is nearest to the decimal."""
    text = cell.replace(",", ".") if separator == ";" else cell
    if len(text) <= 60 and _NUMBER.fullmatch(text):
        with localcontext(_EXACT):
            value = float(Decimal(text) * Decimal(_SCALES[name][unit]))
        if math.isfinite(value):
            return value
    got = f"'{cell[:40]}'" if cell else "none"
    raise TableError(line, at, f"expected a number for '{name}_{unit}', got {got}; write one")


def pieces_of_table(rows: Iterable[TableRow]) -> tuple[Piece, ...]:
    """The pieces that play a table."""
    found: list[Piece] = []
    for row in rows:
        if row.limit is not None:
            found.append(Limit(row.limit))
        if row.way == "line":
            found.append(Line(row.voltage, row.dwell))
        else:
            found += [Jump(row.voltage), Hold(row.dwell)]
    return tuple(found)


class NoTable(ValueError):
    """What a table cannot hold: a ripple, an exponential, an output that is switched off, a wait."""


def rows_of(pieces: Sequence[Piece], level: float) -> tuple[TableRow, ...]:
    """The table of some pieces, the set point being at `level` [V] before; repeats are written out.

    The rows of a table that was read come back as they were. NoTable.
    """
    rows: list[TableRow] = []
    limit: float | None = None
    at: float | None = None  # where a jump has gone, until it is known how long it stays there
    for piece in _flattened(pieces):
        if isinstance(piece, Limit):
            if at is not None:
                rows.append(TableRow(0.0, at, limit, "step"))
                at, limit = None, None
            elif limit is not None:
                rows.append(TableRow(0.0, level, limit, "step"))
            limit = piece.current
            continue
        if isinstance(piece, Jump):
            if at is not None:
                rows.append(TableRow(0.0, at, limit, "step"))
                limit = None
            at = level = piece.voltage
            continue
        if isinstance(piece, Line):
            if at is not None:
                rows.append(TableRow(0.0, at, limit, "step"))
                limit = None
            level = piece.voltage
            rows.append(TableRow(piece.duration, level, limit, "line"))
        elif isinstance(piece, Hold):
            rows.append(TableRow(piece.duration, level, limit, "step"))
        else:
            kind = type(piece).__name__.lower()
            raise NoTable(f"expected holds, steps, lines and limits for a table, got a piece '{kind}'")
        at, limit = None, None
    if at is not None or limit is not None:
        rows.append(TableRow(0.0, level, limit, "step"))
    return tuple(rows)


def _flattened(pieces: Sequence[Piece]) -> Iterator[Piece]:
    for piece in pieces:
        if not isinstance(piece, Repeat):
            yield piece
            continue
        for turn in range(piece.times):
            if turn and piece.pause:
                yield Hold(piece.pause)
            yield from _flattened(piece.pieces)


def table_text(rows: Iterable[TableRow]) -> str:
    """A table in CSV, in SI units, every figure with all the digits that tell it from others."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEADER)
    for row in rows:
        limit = "" if row.limit is None else repr(row.limit)
        writer.writerow([repr(row.dwell), repr(row.voltage), limit, row.way])
    return out.getvalue()
