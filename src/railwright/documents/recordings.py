"""Recordings that a procedure plays: opened by what they are, the column found, and what was guessed told."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from railwright.documents.csv_values import RecordingError
from railwright.documents.recording_keys import RecordingKeys
from railwright.documents.recording_table import Table, beginning, is_unit, known_unit
from railwright.quantities import show

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from railwright.waveforms.shapes import Piece
    from railwright.waveforms.waveform import Waveform

_KINDS = {
    ".parquet": "parquet",
    ".pq": "parquet",
    ".h5": "hdf5",
    ".hdf5": "hdf5",
    ".hdf": "hdf5",
    ".wav": "wav",
}
_BEGINNINGS = {b"PAR1": "parquet", b"\x89HDF": "hdf5", b"RIFF": "wav", b"RF64": "wav"}


def read_recording(
    path: Path, keys: RecordingKeys | None = None, unit: str = "V"
) -> tuple[Waveform, tuple[str, ...]]:
    """The waveform that a file holds, its time from 0 on, and what was recognised or taken for granted in it.

    keys: what a document says of it (`recording`, the file's name there, is not looked at); unit: SI unit of
    the quantity that is wanted. RecordingError, one line with file and line, for anything that cannot be
    used.
    """
    from railwright.waveforms.recordings import NoRecording, from_samples

    keys = keys or RecordingKeys(recording=str(path))
    table = _opened(path, keys)
    guessed = list(table.guessed)
    at_time = _time_place(table, keys, guessed)
    at_value = _value_place(table, keys, at_time, unit, guessed)
    if at_value == at_time:
        told = f"expected another column than that of the time, got '{table.heads[at_value].name}' for both"
        raise RecordingError(path, max(1, table.first_line - 1), told)
    factor = _factor(table, at_value, keys, unit, guessed)
    columns = table.read([at_value] if at_time is None else [at_value, at_time])
    value = _numbers(path, table, at_value, columns[0]) * factor
    try:
        time = _seconds(table, keys, at_time, columns, guessed)
        wave, notes = from_samples(time, value, keys.begin, keys.end)
    except NoRecording as error:
        raise RecordingError(path, table.first_line + error.row, error.told) from None
    return wave, (*guessed, *notes)


def recording_pieces(
    path: Path, keys: RecordingKeys | None = None
) -> tuple[tuple[Piece, ...], tuple[str, ...]]:
    """A recorded voltage as pieces of a shape, and what was recognised, with how far its lines are off.

    RecordingError for anything that cannot be used.
    """
    from railwright.waveforms.recordings import as_pieces, few_lines

    wave, guessed = read_recording(path, keys)
    try:
        fit = few_lines(wave)
    except ValueError as error:
        raise RecordingError(path, 1, f"expected a recording with fewer jumps: {error}") from None
    told = f"{wave.time.size} samples as {fit.points} lines, off by {show(fit.error, 'V')} at most"
    return as_pieces(fit.wave), (*guessed, told)


def _opened(path: Path, keys: RecordingKeys) -> Table:
    """The file as a table, by how it begins, else by how it is called."""
    begins = beginning(path)
    kind = _BEGINNINGS.get(begins) or _KINDS.get(path.suffix.casefold(), "csv")
    if kind == "csv":
        from railwright.documents.recording_csv import open_csv

        return open_csv(path)
    from railwright.documents.recording_binary import open_hdf5, open_parquet, open_wav

    if kind == "parquet":
        return open_parquet(path)
    return open_hdf5(path) if kind == "hdf5" else open_wav(path, keys.full_scale)


def _time_place(table: Table, keys: RecordingKeys, guessed: list[str]) -> int | None:
    """The column of the time; None: samples are equally far apart."""
    if keys.time is not None:
        return table.place(keys.time, "column of the time")
    if keys.interval is not None:
        return None
    found = [place for place, head in enumerate(table.heads) if head.looks_like_time]
    if len(found) == 1:
        guessed.append(f"time in column '{table.heads[found[0]].name}'")
        return found[0]
    if table.interval is not None:
        return None
    names = ", ".join(head.name for head in table.heads[:20])
    if found or len(table.heads) < 2:
        got = f"{len(found)} that may be it" if found else "none"
        told = f"expected a column of the time among {names}, got {got}; give 'time' or 'interval'"
        raise RecordingError(table.path, max(1, table.first_line - 1), told)
    guessed.append(f"time in the first column, '{table.heads[0].name}', because none is called so")
    return 0


def _value_place(
    table: Table, keys: RecordingKeys, at_time: int | None, unit: str, guessed: list[str]
) -> int:
    """The column that is played."""
    if keys.column is not None:
        return table.place(keys.column, "column")
    others = [place for place in range(len(table.heads)) if place != at_time]
    of_unit = [place for place in others if known_unit(table.heads[place].unit, unit) is not None]
    found = of_unit if of_unit else others
    if len(found) != 1:
        names = ", ".join(table.heads[place].name for place in found[:20])
        told = f"expected one column that can be played, got {names or 'none'}; name one in 'column'"
        raise RecordingError(table.path, max(1, table.first_line - 1), told)
    guessed.append(f"values in column '{table.heads[found[0]].name}'")
    return found[0]


def _factor(table: Table, place: int, keys: RecordingKeys, unit: str, guessed: list[str]) -> float:
    """What a number of the column is in the SI unit."""
    head = table.heads[place]
    written = keys.unit or head.unit
    if not written:
        guessed.append(f"unit of '{head.name}': none is given, {unit} is taken")
        return 1.0
    factor = known_unit(written, unit)
    if factor is None:
        kind = "another unit" if is_unit(written) else "no unit that is known"
        told = f"expected a unit of {unit} for '{head.name}', got '{written}', {kind}; give 'unit'"
        raise RecordingError(table.path, max(1, table.first_line - 1), told)
    return factor


def _seconds(
    table: Table, keys: RecordingKeys, place: int | None, columns: list[NDArray[Any]], guessed: list[str]
) -> NDArray[Any]:
    """Times of the samples [s]."""
    import numpy as np

    if place is None:
        interval = keys.interval if keys.interval is not None else table.interval
        assert interval is not None
        return np.arange(columns[0].size) * interval
    time, head = columns[1], table.heads[place]
    if time.dtype.kind == "M":
        guessed.append("times are instants, to the nanosecond")
        since: NDArray[Any] = (time - time[0]) / np.timedelta64(1, "s")
        return since
    factor = known_unit(head.unit, "s")
    if factor is None:
        if head.unit:
            told = f"expected a unit of time for '{head.name}', got '{head.unit}'; give 'time' or 'interval'"
            raise RecordingError(table.path, max(1, table.first_line - 1), told)
        guessed.append(f"unit of '{head.name}': none is given, s is taken")
        factor = 1.0
    return _numbers(table.path, table, place, time) * factor


def _numbers(path: Path, table: Table, place: int, column: NDArray[Any]) -> NDArray[Any]:
    """A column as float64. RecordingError where it holds times, or texts."""
    import numpy as np

    if column.dtype.kind not in "iuf":
        told = f"expected numbers in '{table.heads[place].name}', got times or texts; name another column"
        raise RecordingError(path, table.first_line, told)
    return column.astype(np.float64, copy=False)
