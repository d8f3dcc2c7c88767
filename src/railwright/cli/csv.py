"""Traces as CSV: `time_s`, `main_voltage_V`, `main_current_A`, ... on one time base."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from railwright.records.manifest import write_atomically
from railwright.traces import header_of, rows_at

if TYPE_CHECKING:
    from railwright.traces import Array, Traces

PIECE = 10_000
"""Rows that are held as text."""


def write_traces(path: Path, traces: Mapping[str, Traces]) -> None:
    """All channels on the union of the inputs' instants, linear between them (a mode holds its value)."""
    time = np.unique(np.concatenate([each.time for each in traces.values()]))
    columns, formats = {"time_s": time}, ["%.9f"]
    for name, each in traces.items():
        for channel, values in each.columns.items():
            if channel == "mode":
                columns[header_of(name, channel)] = values[rows_at(each.time, time)]
                formats.append("%d")
            else:
                columns[header_of(name, channel)] = np.interp(time, each.time, values)
                formats.append("%.7g")
    write_columns(path, columns, formats)


def write_columns(path: Path, columns: Mapping[str, Array], formats: Sequence[str]) -> None:
    """Columns (n,) by their names, each in its format."""
    write_atomically(path, _pieces(np.column_stack(list(columns.values())), ",".join(columns), formats))


def _pieces(rows: Array, header: str, formats: Sequence[str]) -> Iterator[bytes]:
    yield f"{header}\n".encode()
    for first in range(0, len(rows), PIECE):
        out = io.BytesIO()
        np.savetxt(out, rows[first : first + PIECE], fmt=formats, delimiter=",")
        yield out.getvalue()
