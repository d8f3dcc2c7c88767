"""HDF5 recordings: the one-dimensional sets of numbers in a file, called by their paths."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from railwright.quantities.parsing import LARGEST, SMALLEST
from railwright.recordings.columns import Column, named
from railwright.recordings.errors import RecordingError
from railwright.recordings.file import RecordedFile
from railwright.recordings.table import BLOCK, Table, readable

if TYPE_CHECKING:
    from numpy.typing import NDArray

WHAT = "an HDF5 file"

LARGEST_CHUNK = 1 << 25
"""Samples of a chunk, which a file can only give as a whole."""


class Hdf5Table(Table):
    """An HDF5 file.

    Attributes `unit` or `units` of a set give its unit; `interval` or `dt` (seconds), or `sample_rate`
    (samples a second), of a set or of the file, its time. Raises RecordingError where h5py is not installed.
    """

    ending = ".h5"
    columns_are = "sets of numbers with one dimension"

    def __init__(self, file: RecordedFile) -> None:
        try:
            import h5py
        except ImportError:
            told = "expected the library h5py for an HDF5 file, got none; pip install 'railwright[hdf5]'"
            raise RecordingError(file.path, 1, told) from None
        columns: list[Column] = []
        intervals: set[float] = set()

        def see(name: str, node: Any) -> None:
            if isinstance(node, h5py.Dataset) and node.ndim == 1 and node.dtype.kind in "iuf":
                unit = _text(_alone(node.attrs.get("unit", node.attrs.get("units", ""))))
                bare, written = named(name, unit)
                columns.append(Column(bare, written, header=name))
                if (own := _interval(node.attrs)) is not None:
                    intervals.add(own)

        with readable(file, WHAT):
            self._file = h5py.File(file.path, "r")
            self._file.visititems(see)
            of_file = _interval(self._file.attrs)
        if not intervals and of_file is not None:
            intervals = {of_file}
        super().__init__(file, columns, (WHAT,), interval=intervals.pop() if len(intervals) == 1 else None)

    def count(self, places: Sequence[int]) -> int:
        sizes = [int(each.size) for each in self._sets(places)]
        if len(set(sizes)) > 1:
            told = " and ".join(
                f"{size:,} in '{self.columns[place].header}'"
                for place, size in zip(places, sizes, strict=True)
            )
            raise RecordingError(self.path, 1, f"expected sets with as many samples, got {told}")
        return sizes[0]

    def starts(self, places: Sequence[int]) -> Sequence[int]:
        step = self._step(self._sets(places))
        return range(0, max(1, self.count(places)), step)

    def blocks(self, places: Sequence[int], start: int = 0) -> Iterator[list[NDArray[Any]]]:
        sets, count = self._sets(places), self.count(places)
        step = self._step(sets)
        for begin in range(start - start % step, count, step):
            with readable(self.file, WHAT):
                arrays = [each[begin : begin + step] for each in sets]
            skipped = max(0, start - begin)
            yield [array[skipped:] for array in arrays]

    def close(self) -> None:
        self._file.close()

    def _sets(self, places: Sequence[int]) -> list[Any]:
        with readable(self.file, WHAT):
            return [self._file[self.columns[place].header] for place in places]

    def _step(self, sets: Sequence[Any]) -> int:
        """Rows to read at a time: whole chunks, which a file gives as a whole only."""
        step = BLOCK
        for each in sets:
            with readable(self.file, WHAT):
                elsewhere, chunk = each.external or each.is_virtual, each.chunks
            if elsewhere:
                # Whatever another file is, a device or somebody's secrets, it would be read unasked.
                told = f"expected samples in the file itself, got '{each.name}' with samples in other files"
                raise RecordingError(self.path, 1, f"{told}; write them into one file")
            if chunk is not None and chunk[0] > LARGEST_CHUNK:
                told = f"expected chunks of at most {LARGEST_CHUNK:,} samples, got {chunk[0]:,}"
                raise RecordingError(self.path, 1, f"{told} in '{each.name}'; write smaller ones")
            if chunk is not None:
                step = max(step, -(-step // chunk[0]) * chunk[0])
        return step


def _interval(attributes: Any) -> float | None:
    """Time between two samples [s] as attributes give it; None: they do not, or not as a number above 0."""
    for name in ("interval", "dt"):
        if name in attributes:
            return _above_zero(_alone(attributes[name]))
    for name in ("sample_rate", "samplerate", "fs"):
        if name in attributes and (rate := _above_zero(_alone(attributes[name]))) is not None:
            return 1.0 / rate
    return None


def _alone(value: Any) -> Any:
    """An attribute's value; many programs write one value as an array of one."""
    return value.item() if getattr(value, "size", 0) == 1 else value


def _above_zero(value: Any) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError):
        return None
    return number if SMALLEST <= number <= LARGEST else None


def _text(value: Any) -> str:
    return value.decode(errors="replace") if isinstance(value, bytes) else str(value)
