"""A run's readings in files for other programs, each of which says by itself what is in it."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from railwright.archive.stored import StoredRun
from railwright.frames import not_installed
from railwright.records.manifest import write_together
from railwright.records.names import ExportKind, multimeter_file, readings_file
from railwright.records.tables import as_texts, described, facts_of, schema_of, table_of
from railwright.traces import UNITS, channel_attributes, header_of

if TYPE_CHECKING:
    from railwright.traces import Array

ROWS = 65_536
"""Rows that are made into a piece of a file at a time."""


class _Table(NamedTuple):
    """Readings on a time base of their own. stem: of the file's name. group: of an HDF5 file. names: channel
    -> what a table calls it. columns: channel -> values, of the time [s] first; a gap is NaN.
    """

    stem: str
    group: str
    names: Mapping[str, str]
    columns: Mapping[str, Array]

    @property
    def units(self) -> dict[str, str]:
        """What a table calls each channel -> its unit."""
        return {name: _unit_of(channel) for channel, name in self.names.items()}


_OF_TIME = {"time": "s", "took": "s"}
"""Channels of a time: when a reading came, and what the exchange for it took."""


def _unit_of(channel: str) -> str:
    return _OF_TIME.get(channel) or UNITS[channel]


def export_run(stored: StoredRun, to: ExportKind, folder: Path) -> tuple[Path, ...]:
    """Write the readings of a run; gives the paths. OSError names what cannot be written;
    nothing of it is there then.
    """
    facts = dict[str, Any](facts_of(stored.data.about))
    if remarks := stored.remarks:
        facts["remarks"] = list(remarks)
    name = facts.get("run") or stored.folder.resolve().name
    files = {
        folder / f"{name}{ending}": content
        for ending, content in EXPORTS[to](list(_tables(stored)), facts).items()
    }
    write_together(files, folders=True)
    return tuple(files)


def _tables(stored: StoredRun) -> Iterator[_Table]:
    for name, traces in stored.data.record.traces.items():
        names = {channel: header_of(name, channel) for channel in traces.columns}
        columns = {"time": traces.time, **traces.columns}
        stem = readings_file(Path(), name).stem
        yield _Table(stem, f"inputs/{name}", {"time": "time_s", **names}, columns)
    for name, own in stored.data.multimeters.items():
        quantity = stored.documents.bench.multimeters[name].quantity
        names = {"time": "time_s", quantity: header_of(name, quantity), "took": "took_s"}
        columns = {"time": own.time, quantity: own.value, "took": own.took}
        yield _Table(multimeter_file(Path(), name).stem, f"multimeters/{name}", names, columns)


def _csv(tables: list[_Table], facts: Mapping[str, Any]) -> dict[str, Iterator[bytes]]:
    return {f"-{table.stem}.csv": _csv_pieces(table, facts) for table in tables}


def _csv_pieces(table: _Table, facts: Mapping[str, Any]) -> Iterator[bytes]:
    """Lines that begin with `#`, a header, and rows; every number to its last digit, and a gap is empty."""
    told = as_texts(described(facts, table.units))
    # On one line each, whatever a text holds.
    lines = [f"# {name}: {' '.join(text.splitlines())}" for name, text in told.items()]
    yield "\n".join([*lines, ",".join(table.names.values()), ""]).encode()
    for start in range(0, table.columns["time"].size, ROWS):
        cells = [_cells(channel, values[start : start + ROWS]) for channel, values in table.columns.items()]
        yield "".join(f"{','.join(row)}\n" for row in zip(*cells, strict=True)).encode()


def _cells(channel: str, values: Array) -> list[str]:
    numbers = [int(each) for each in values.tolist()] if channel == "mode" else values.tolist()
    return ["" if number != number else repr(number) for number in numbers]


def _parquet(tables: list[_Table], facts: Mapping[str, Any]) -> dict[str, Iterator[bytes]]:
    return {f"-{table.stem}.parquet": _parquet_pieces(table, facts) for table in tables}


def _parquet_pieces(table: _Table, facts: Mapping[str, Any]) -> Iterator[bytes]:
    from pyarrow import parquet

    schema, sink = schema_of(facts, table.units), io.BytesIO()
    # What is written is taken out again at once: the library itself counts where in the file it is.
    with parquet.ParquetWriter(_Forgetting(sink), schema, use_dictionary=False) as writer:
        for start in range(0, table.columns["time"].size, ROWS):
            parts = [np.ascontiguousarray(each[start : start + ROWS]) for each in table.columns.values()]
            writer.write_table(table_of(schema, [(each, _told(each)) for each in parts]))
            yield _taken(sink)
    yield _taken(sink)


def _told(values: Array) -> Any:
    gaps = np.isnan(values)
    return ~gaps if gaps.any() else None


class _Forgetting(io.RawIOBase):
    """A file that is only written on, and knows how much it was, whatever was taken out of it meanwhile."""

    def __init__(self, sink: io.BytesIO) -> None:
        self._sink, self._size = sink, 0

    def writable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._size

    def write(self, data: Any) -> int:
        written = self._sink.write(data)
        self._size += written
        return written


def _taken(sink: io.BytesIO) -> bytes:
    content = sink.getvalue()
    sink.seek(0)
    sink.truncate()
    return content


def _hdf5(tables: list[_Table], facts: Mapping[str, Any]) -> dict[str, Iterator[bytes]]:
    try:
        import h5py
    except ImportError:
        raise not_installed("h5py", "hdf5") from None
    return {".h5": _hdf5_pieces(h5py, tables, facts)}


def _hdf5_pieces(h5py: Any, tables: list[_Table], facts: Mapping[str, Any]) -> Iterator[bytes]:
    """A group an input and a multimeter, whose sets have its time as their dimension scale."""
    content = io.BytesIO()
    with h5py.File(content, "w") as file:
        file.attrs.update(as_texts(facts))
        for table in tables:
            group = file.create_group(table.group)
            group.attrs.update(as_texts(facts))
            time = group.create_dataset("time", data=table.columns["time"])
            time.make_scale("time")
            for channel, values in table.columns.items():
                whole = channel == "mode"
                own = (
                    time
                    if channel == "time"
                    else group.create_dataset(channel, data=values.astype(np.int8) if whole else values)
                )
                own.attrs["units"] = _unit_of(channel)
                if whole:
                    told = channel_attributes(channel)
                    own.attrs["flag_values"] = np.array(told["flag_values"], np.int8)
                    own.attrs["flag_meanings"] = told["flag_meanings"]
                if own is not time:
                    own.dims[0].attach_scale(time)
    content.seek(0)
    yield from iter(lambda: content.read(1 << 20), b"")


EXPORTS: dict[ExportKind, Callable[[list[_Table], Mapping[str, Any]], dict[str, Iterator[bytes]]]] = {
    "csv": _csv,
    "parquet": _parquet,
    "hdf5": _hdf5,
}
"""Kind of file -> from tables and facts, what follows the run's name in each file's name -> its content."""
