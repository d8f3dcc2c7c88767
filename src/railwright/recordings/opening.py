"""The one way into a recording: what the file is, which column is the time, and what was guessed in it."""

from __future__ import annotations

from pathlib import Path

from railwright.recordings.columns import names_of, unit_factor
from railwright.recordings.errors import RecordingError
from railwright.recordings.file import RecordedFile, find_file
from railwright.recordings.recording import OpenRecording
from railwright.recordings.samples import TimeBase
from railwright.recordings.table import Table
from railwright.regular import LARGEST_RECORDING

ENDINGS = {
    ".parquet": "parquet",
    ".pq": "parquet",
    ".h5": "hdf5",
    ".hdf5": "hdf5",
    ".hdf": "hdf5",
    ".wav": "wav",
}
_BEGINNINGS = {b"PAR1": "parquet", b"\x89HDF": "hdf5", b"RIFF": "wav", b"RF64": "wav", b"RIFX": "wav"}


def open_recording(
    path: Path,
    *,
    time: str | None = None,
    interval: float | None = None,
    guess: bool = True,
    keys: bool = True,
    largest: int = LARGEST_RECORDING,
) -> OpenRecording:
    """The recording that a file holds: CSV, Parquet, HDF5 or WAV, by how it begins, else by how it is called.

    time: name of the column of the time, or its number from 1. interval: time between two samples [s], where
    no column has it. guess: where no column is called so, the first one is the time. keys: whoever wants it
    can say what the header leaves open, and messages ask for that. largest: bytes that the file may have.
    RecordingError for anything that cannot be used.
    """
    file, begins = find_file(path, largest)
    table = _open_table(file, _BEGINNINGS.get(begins) or ENDINGS.get(path.suffix.casefold(), "csv"))
    try:
        recognised = list(table.recognised)
        base = _time_base(table, time, interval, recognised, guess=guess, keys=keys)
    except BaseException:
        table.close()
        raise
    return OpenRecording(table, base, recognised, keys=keys)


def _open_table(file: RecordedFile, kind: str) -> Table:
    if kind == "parquet":
        from railwright.recordings.parquet import ParquetTable

        return ParquetTable(file)
    if kind == "hdf5":
        from railwright.recordings.hdf5 import Hdf5Table

        return Hdf5Table(file)
    if kind == "wav":
        from railwright.recordings.wav import WavTable

        return WavTable(file)
    from railwright.recordings.csv_table import CsvTable

    return CsvTable(file)


def _time_base(
    table: Table,
    time: str | None,
    interval: float | None,
    recognised: list[str],
    *,
    guess: bool,
    keys: bool,
) -> TimeBase:
    remedy = "give 'time' or 'interval'" if keys else "call it 'time_s'"
    place = _time_place(table, time, interval, recognised, guess, remedy)
    if place is None:
        step = interval if interval is not None else table.interval
        assert step is not None
        return TimeBase(None, interval=step)
    column = table.columns[place]
    if column.kind == "instant":
        recognised.append("times are instants, to the nanosecond")
        return TimeBase(place, instants=True)
    if column.kind == "text":
        told = f"expected numbers or times in '{column.name}', got {column.holds}"
        told += "; name another column of the time, or write it in seconds"
        raise RecordingError(table.path, table.first_line, told)
    if not column.unit:
        recognised.append(f"unit of '{column.name}': none is given, s is taken")
        return TimeBase(place, guessed=time is None)
    factor = unit_factor(column.unit, "s")
    if factor is None:
        told = f"expected a unit of time for '{column.name}', got '{column.unit}'; {remedy}"
        raise RecordingError(table.path, column.line, told, column.place)
    return TimeBase(place, factor)


def _time_place(
    table: Table,
    time: str | None,
    interval: float | None,
    recognised: list[str],
    guess: bool,
    remedy: str,
) -> int | None:
    """The column of the time; None: samples are equally far apart."""
    if time is not None:
        return table.place(time, "column of the time")
    if interval is not None:
        return None
    called = [place for place, column in enumerate(table.columns) if column.is_called_time]
    found = called or [place for place, column in enumerate(table.columns) if column.looks_like_time]
    if len(found) == 1:
        recognised.append(f"time in column '{table.columns[found[0]].name}'")
        return found[0]
    if table.interval is not None:
        return None
    if not table.columns:
        raise RecordingError(table.path, 1, f"expected {table.columns_are} as columns, got none")
    if found or not guess or len(table.columns) < 2:
        got = f"{len(found)} that may be it" if found else "none"
        told = f"expected a column of the time among {names_of(table.columns)}, got {got}"
        raise RecordingError(table.path, table.header_line, f"{told}; {remedy}")
    name = table.columns[0].name
    recognised.append(f"time in the first column, '{name}': no column is called 'time'")
    return 0
