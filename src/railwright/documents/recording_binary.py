"""Recordings that are no text: Parquet, HDF5 and WAV as tables, mapped or read column by column."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from railwright.documents.csv_values import RecordingError
from railwright.documents.recording_table import Head, Table, split_head
from railwright.quantities.parsing import LARGEST, SMALLEST
from railwright.regular import MOST_SAMPLES

if TYPE_CHECKING:
    from numpy.typing import NDArray


def open_parquet(path: Path) -> Table:
    """The table of a Parquet file; a unit may stand in a column's name or in its metadata as `unit`."""
    import pyarrow as pa
    from pyarrow import parquet

    with _readable(path, "a Parquet file"):
        file = parquet.ParquetFile(path, memory_map=True)
        schema = file.schema_arrow
    refuse_more(path, file.metadata.num_rows)
    heads = []
    for field in schema:
        head = split_head(field.name)
        unit = (field.metadata or {}).get(b"unit", b"").decode(errors="replace")
        heads.append(Head(field.name if unit else head.name, unit or head.unit))

    def read(places: Sequence[int]) -> list[NDArray[Any]]:
        columns = []
        for place in places:
            kind = schema.field(place).type
            if not (pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_timestamp(kind)):
                told = f"expected numbers or times in '{schema.field(place).name}', got {kind}"
                raise RecordingError(path, 1, told)
            with _readable(path, "a Parquet file"):
                column = file.read(columns=[schema.field(place).name]).column(0)
            if column.null_count:
                gaps = f"got {column.null_count} gaps"
                told = f"expected a value in every row of '{schema.field(place).name}', {gaps}"
                raise RecordingError(path, 1, told)
            columns.append(column.to_numpy())
        return columns

    return Table(path, tuple(heads), read, guessed=("a Parquet file",))


def open_hdf5(path: Path) -> Table:
    """The table of an HDF5 file: its one-dimensional sets of numbers, called by their paths.

    Attributes `unit` or `units` of a set give its unit; `interval` or `dt` (seconds), or `sample_rate`
    (samples a second), of a set or of the file, its time. Raises RecordingError where h5py is not installed.
    """
    try:
        import h5py
    except ImportError:
        told = "expected the library h5py for an HDF5 file, got none; pip install 'railwright[hdf5]'"
        raise RecordingError(path, 1, told) from None
    sets: dict[str, tuple[str, float | None]] = {}
    sizes: list[int] = []

    def see(name: str, node: Any) -> None:
        if isinstance(node, h5py.Dataset) and node.ndim == 1 and node.dtype.kind in "iuf":
            sets[name] = _text(node.attrs.get("unit", node.attrs.get("units", ""))), _interval(node.attrs)
            sizes.append(node.size)

    with _readable(path, "an HDF5 file"), h5py.File(path, "r") as file:
        file.visititems(see)
        of_file = _interval(file.attrs)
    refuse_more(path, max(sizes, default=0))
    heads = tuple(
        Head(name, unit) if unit else Head(split_head(name).name, split_head(name).unit)
        for name, (unit, _) in sets.items()
    )
    intervals: set[float | None] = {own for _, own in sets.values() if own is not None} or {of_file}

    def read(places: Sequence[int]) -> list[NDArray[Any]]:
        names = list(sets)
        with _readable(path, "an HDF5 file"), h5py.File(path, "r") as file:
            return [file[names[place]][()] for place in places]

    interval = intervals.pop() if len(intervals) == 1 else None
    return Table(path, heads, read, interval, guessed=("an HDF5 file",))


def open_wav(path: Path, full_scale: float | None) -> Table:
    """The table of a WAV file: its channels, numbered from 1, and the time between its samples.

    full_scale: what a full-scale sample of whole numbers stands for. RecordingError where it is left out for
    such a file: nothing in it says so.
    """
    import numpy as np
    from scipy.io import wavfile

    with _readable(path, "a WAV file"):
        rate, samples = _mapped(wavfile, path)
        samples = samples.reshape(samples.shape[0], -1)
    refuse_more(path, samples.shape[0])
    if rate <= 0:
        raise RecordingError(path, 1, f"expected a WAV file, got one of {rate} samples a second")
    whole = samples.dtype.kind in "iu"
    if whole and full_scale is None:
        told = (
            "expected 'full_scale' for a WAV file of whole numbers, got none; give the voltage at full scale"
        )
        raise RecordingError(path, 1, told)
    heads = tuple(Head(f"channel {number}") for number in range(1, samples.shape[1] + 1))

    def read(places: Sequence[int]) -> list[NDArray[Any]]:
        with np.errstate(invalid="ignore"):  # a NaN is told with its row, when the samples are looked at
            columns = [samples[:, place].astype(np.float64) for place in places]
        if not whole or full_scale is None:
            return columns
        # 8 bits are without a sign, the middle at 128; 24 bits come as the upper ones of 32.
        half = 2.0 ** (8 * samples.dtype.itemsize - 1)
        middle = half if samples.dtype.kind == "u" else 0.0
        return [(column - middle) * (full_scale / half) for column in columns]

    return Table(path, heads, read, 1.0 / rate, guessed=(f"a WAV file of {rate} samples a second",))


def _mapped(wavfile: Any, path: Path) -> tuple[int, NDArray[Any]]:
    """Rate and samples, mapped where the format allows it (24 bits do not)."""
    import warnings

    with warnings.catch_warnings():
        # Chunks of other programs are nothing that matters here.
        warnings.simplefilter("ignore", wavfile.WavFileWarning)
        try:
            return wavfile.read(path, mmap=True)  # type: ignore[no-any-return]
        except ValueError:
            return wavfile.read(path)  # type: ignore[no-any-return]


@contextmanager
def _readable(path: Path, what: str) -> Iterator[None]:
    """Whatever a library says of a damaged file is a RecordingError; what: the kind of file."""
    try:
        yield
    # The libraries raise whatever their parsers stumble over (struct.error, TypeError, KeyError,
    # UnboundLocalError, RuntimeError, MemoryError, ...): of a file from outside all of it means the same.
    except Exception as error:
        if isinstance(error, RecordingError):
            raise
        raise RecordingError(path, 1, f"expected {what}, got another: {_first(error)}") from None


def refuse_more(path: Path, samples: int) -> None:
    """RecordingError where a file has more samples than are read."""
    if samples > MOST_SAMPLES:
        told = f"expected at most {MOST_SAMPLES:,} samples, got {samples:,}; cut out the part that is played"
        raise RecordingError(path, 1, told)


def _interval(attributes: Any) -> float | None:
    """Time between two samples [s] as attributes give it; None: they do not, or not as a number above 0."""
    for name in ("interval", "dt"):
        if name in attributes:
            return _above_zero(attributes[name])
    for name in ("sample_rate", "samplerate", "fs"):
        if name in attributes and (rate := _above_zero(attributes[name])) is not None:
            return 1.0 / rate
    return None


def _above_zero(value: Any) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError):
        return None
    return number if SMALLEST <= number <= LARGEST else None


def _text(value: Any) -> str:
    return value.decode(errors="replace") if isinstance(value, bytes) else str(value)


def _first(error: Exception) -> str:
    """The first line of what a library says."""
    return (str(error).splitlines() or [type(error).__name__])[0][:120]
