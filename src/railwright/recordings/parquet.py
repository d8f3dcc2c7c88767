"""Parquet recordings, read page by page: neither a file nor one of its row groups is in memory whole."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from itertools import accumulate
from typing import TYPE_CHECKING, Any

import numpy as np

from railwright.recordings.columns import Column, Kind, named
from railwright.recordings.errors import RecordingError
from railwright.recordings.file import RecordedFile
from railwright.recordings.table import BLOCK, Table, readable

if TYPE_CHECKING:
    from numpy.typing import NDArray

WHAT = "a Parquet file"

BUFFER = 1 << 20
"""Bytes of a column that are read at a time; without it a whole row group is."""


class ParquetTable(Table):
    """A Parquet file; a unit may stand in a column's name or in its metadata as `unit`."""

    ending = ".parquet"

    def __init__(self, file: RecordedFile) -> None:
        from pyarrow import parquet

        with readable(file, WHAT):
            # Not mapped: a mapped file that is cut off while it is read ends the process.
            self._file = parquet.ParquetFile(
                file.path, memory_map=False, buffer_size=BUFFER, pre_buffer=False
            )
            self._schema = self._file.schema_arrow
            groups = self._file.metadata
            sizes = [groups.row_group(number).num_rows for number in range(groups.num_row_groups)]
        self._starts = [0, *accumulate(sizes)]  # of the groups, and after the last one
        self._begins = [start for start, size in zip(self._starts, sizes, strict=False) if size] or [0]
        columns = []
        for field in self._schema:
            unit = (field.metadata or {}).get(b"unit", b"").decode(errors="replace")
            name, written = named(field.name, unit)
            holds = f"values of type {field.type}"
            columns.append(Column(name, written, _kind_of(field.type), field.name, holds=holds))
        super().__init__(file, columns, (WHAT,))

    def count(self, places: Sequence[int]) -> int:
        return int(self._starts[-1])

    def starts(self, places: Sequence[int]) -> Sequence[int]:
        return self._begins

    def blocks(self, places: Sequence[int], start: int = 0) -> Iterator[list[NDArray[Any]]]:
        names = [self._schema.field(place).name for place in places]
        for place, name in zip(places, names, strict=True):
            if self.columns[place].kind == "text":
                holds = self.columns[place].holds
                raise RecordingError(self.path, 1, f"expected numbers or times in '{name}', got {holds}")
            if (count := self._schema.names.count(name)) > 1:
                raise RecordingError(self.path, 1, f"expected one column '{name}', got {count} of them")
        groups = range(bisect_right(self._starts, start) - 1, len(self._starts) - 1)
        with readable(self.file, WHAT):
            batches = self._file.iter_batches(
                BLOCK, row_groups=list(groups), columns=names, use_threads=False
            )
        while True:
            with readable(self.file, WHAT):
                batch = next(batches, None)
                if batch is None:
                    return
                arrays = [_values(batch.column(batch.schema.get_field_index(name))) for name in names]
            yield arrays

    def close(self) -> None:
        self._file.close()


def _kind_of(kind: Any) -> Kind:
    import pyarrow as pa

    if pa.types.is_integer(kind) or pa.types.is_floating(kind):
        return "number"
    # Durations too are counted from the first of them.
    return "instant" if pa.types.is_timestamp(kind) or pa.types.is_duration(kind) else "text"


def _values(column: Any) -> NDArray[Any]:
    """Its values; a gap among whole numbers makes them fractions, with NaN in it."""
    import pyarrow as pa

    values: NDArray[Any]
    if not pa.types.is_float64(column.type):
        values = column.to_numpy(zero_copy_only=False)
        return values
    # The same as to_numpy, which loads pandas where it is installed.
    part = slice(column.offset, column.offset + len(column))
    valid, numbers = column.buffers()
    values = np.frombuffer(numbers)[part] if numbers else np.empty(0)
    if column.null_count:
        told = np.unpackbits(np.frombuffer(valid, np.uint8), bitorder="little")[part]
        values = np.where(told, values, np.nan)
    return values
