"""The files of a log: rows as CSV, or as Parquet with a CSV beside it until a file is whole.

A thread hands rows to the system every 50 ms and forces them onto the disk every 0.5 s (`records.log`), so
`kill -9` costs 50 ms of them. A Parquet file can be read only once it is closed: until then its rows also
stand in a CSV file of the same name, which goes when the Parquet file is whole.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
from array import array
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from railwright.documents.output_name import OutputName
from railwright.instruments.supply import OutputReading
from railwright.records.log import Log
from railwright.records.manifest import write_json
from railwright.records.readings import RowFile
from railwright.records.tables import number_array
from railwright.traces import Mode
from railwright.watching.conditions import LogRow
from railwright.watching.statistics import Statistics

if TYPE_CHECKING:
    import pyarrow as pa

Form = Literal["csv", "parquet"]

QUANTITIES = {"voltage": "V", "current": "A", "power": "W"}

MICROSECONDS = 1e6


class OutputStatistics:
    """What was read of one output: its quantities, how often it was in each mode, and why nothing was read.

    modes, missed: how many rows of each.
    """

    def __init__(self) -> None:
        self.quantities = {name: Statistics() for name in QUANTITIES}
        self.modes: Counter[str] = Counter()
        self.missed: Counter[str] = Counter()

    def add(self, reading: OutputReading) -> None:
        """One more reading."""
        values = reading.voltage, reading.current, reading.voltage * reading.current
        for statistics, value in zip(self.quantities.values(), values, strict=True):
            statistics.add(value)
        self.modes[mode_word(reading) or "not told"] += 1

    def as_data(self) -> dict[str, Any]:
        """As the files have it."""
        told = {f"{name}_{QUANTITIES[name]}": each.as_data() for name, each in self.quantities.items()}
        return {**told, "modes": dict(self.modes), "missed_rows": dict(self.missed)}


class LogStatistics:
    """Of all outputs, over some rows: a file's, or all of them."""

    def __init__(self, outputs: Sequence[OutputName]) -> None:
        self.outputs = {name: OutputStatistics() for name in outputs}
        self.rows = 0

    def add(self, row: LogRow) -> None:
        """One more row, whether it is written or not."""
        self.rows += 1
        for name, each in self.outputs.items():
            if name in row.readings:
                each.add(row.readings[name])
            else:
                each.missed[row.missed.get(name.supply) or row.missed.get(name, "")] += 1

    def as_data(self) -> dict[str, Any]:
        """As the files have it."""
        return {name: each.as_data() for name, each in self.outputs.items()}


def mode_word(reading: OutputReading) -> str:
    """What regulates an output; '' where it does not tell."""
    if not reading.on and not reading.trip:
        return Mode.OFF.word
    return "" if reading.mode is None else reading.mode.word


def columns_of(outputs: Sequence[OutputName]) -> list[str]:
    """The columns of a log, in their order: `name_unit` where there is one."""
    own = [f"{name}_{what}" for name in outputs for what in ("voltage_V", "current_A", "mode")]
    return ["time_s", "utc", *own, *(f"{name}_delay_s" for name in supplies_of(outputs)), "missed"]


def supplies_of(outputs: Sequence[OutputName]) -> list[str]:
    """The supplies of some outputs, each once."""
    return list(dict.fromkeys(name.supply for name in outputs))


def cells_of(row: LogRow, outputs: Sequence[OutputName]) -> Iterator[float | str]:
    """The cells of a row, as `columns_of` has them; NaN: a reading that was missed."""
    yield row.time
    yield row.unix
    for name in outputs:
        reading = row.readings.get(name)
        yield math.nan if reading is None else reading.voltage
        yield math.nan if reading is None else reading.current
        yield "" if reading is None else mode_word(reading)
    for supply in supplies_of(outputs):
        yield row.delays.get(supply, math.nan)
    yield "; ".join(f"{supply}: {why}" for supply, why in row.missed.items())


class CsvRows:
    """Rows as lines of CSV. A reading that was missed is `nan`."""

    def __init__(self, outputs: Sequence[OutputName]) -> None:
        self._outputs = tuple(outputs)
        self._columns = columns_of(outputs)
        self._written = [_cell_of(name) for name in self._columns]

    @property
    def header(self) -> bytes:
        """The first line."""
        return _line(self._columns)

    def line(self, row: LogRow) -> bytes:
        """One row."""
        cells = zip(self._written, cells_of(row, self._outputs), strict=True)
        return _line([written(cell) for written, cell in cells])


def _cell_of(column: str) -> Callable[[Any], str]:
    """How the cells of a column are written."""
    if column == "utc":
        return instant_text
    if column.endswith("_s"):
        return "{:.6f}".format
    return "{:.9g}".format if column.endswith(("_V", "_A")) else str


def _line(cells: Sequence[str]) -> bytes:
    written = io.StringIO()
    csv.writer(written, lineterminator="\n").writerow(cells)
    return written.getvalue().encode("utf-8", "backslashreplace")


def instant_text(unix: float) -> str:
    """An instant as ISO 8601 has it, in coordinated universal time, to the microsecond."""
    instant = dt.datetime.fromtimestamp(unix, dt.UTC)
    return instant.isoformat(timespec="microseconds").replace("+00:00", "Z")


class _Numbers:
    """Numbers of a column in memory; NaN: there is none."""

    def __init__(self) -> None:
        self._values = array("d")

    def add(self, value: float) -> None:
        self._values.append(value)

    def taken(self) -> pa.Array:
        """As a column; they are gone from here then."""
        import numpy as np

        values, self._values = self._values, array("d")
        return number_array(values, ~np.isnan(np.array(values, dtype=np.float64)))


class _Instants:
    """Instants of a column in memory [µs since 1970]."""

    def __init__(self) -> None:
        self._values = array("q")

    def add(self, unix: float) -> None:
        self._values.append(round(unix * MICROSECONDS))

    def taken(self) -> pa.Array:
        """As a column; they are gone from here then."""
        import pyarrow as pa

        values, self._values = self._values, array("q")
        return pa.Array.from_buffers(pa.timestamp("us", "UTC"), len(values), [None, pa.py_buffer(values)])


class _Texts:
    """Texts of a column in memory, one after the other. Not by pa.array, which loads pandas where it is
    installed.
    """

    def __init__(self) -> None:
        self._ends, self._bytes = array("i", [0]), bytearray()

    def add(self, text: str) -> None:
        self._bytes += text.encode("utf-8", "backslashreplace")
        self._ends.append(len(self._bytes))

    def taken(self) -> pa.Array:
        """As a column; they are gone from here then."""
        import pyarrow as pa

        ends, texts = self._ends, bytes(self._bytes)
        self._ends, self._bytes = array("i", [0]), bytearray()
        buffers = [None, pa.py_buffer(ends), pa.py_buffer(texts)]
        return pa.Array.from_buffers(pa.string(), len(ends) - 1, buffers)


class ParquetLog(RowFile):
    """Rows on their way into a Parquet file. The file's metadata says what modes and gaps mean."""

    rows = 8_192

    def __init__(self, path: Path, outputs: Sequence[OutputName]) -> None:
        self._outputs = tuple(outputs)
        self._kept: dict[str, _Numbers | _Instants | _Texts] = {}
        super().__init__(path, self._columns_of(columns_of(outputs)))

    def add(self, row: LogRow) -> None:
        """One more row."""
        for column, cell in zip(self._kept.values(), cells_of(row, self._outputs), strict=True):
            column.add(cell)  # type: ignore[arg-type]
        self._added()

    def _columns_of(self, names: Sequence[str]) -> pa.Schema:
        import pyarrow as pa

        fields = []
        for name in names:
            if name == "utc":
                self._kept[name], kind = _Instants(), pa.timestamp("us", "UTC")
            elif name.endswith(("_s", "_V", "_A")):
                self._kept[name], kind = _Numbers(), pa.float64()
            else:
                self._kept[name], kind = _Texts(), pa.string()
            fields.append(pa.field(name, kind))
        modes = ", ".join(mode.word for mode in Mode)
        told = {"mode": f"one of {modes}; empty: not told", "null": "missed, for the reason in 'missed'"}
        return pa.schema(fields, metadata=told)

    def _taken(self) -> pa.Table:
        import pyarrow as pa

        return pa.Table.from_arrays([each.taken() for each in self._kept.values()], schema=self._schema)


class LogFiles:
    """The rows of a log, in files `rows-0001.csv` and on, each with its statistics in `rows-0001.json`.

    most: rows of a file; lasting: time that a file covers [s]; a new one begins with the row after. OSError
    where the folder cannot be written.
    """

    # Many: where, what, and when a new file begins.
    def __init__(
        self,
        folder: Path,
        outputs: Sequence[OutputName],
        form: Form,
        most: float = math.inf,
        lasting: float = math.inf,
    ) -> None:
        self.folder, self.form, self.count, self.rows = folder, form, 0, 0
        self._outputs, self._most, self._lasting = tuple(outputs), most, lasting
        self._csv = CsvRows(outputs)
        self.whole = LogStatistics(outputs)
        self._log: Log | None = None
        self._parquet: ParquetLog | None = None
        self._failed: OSError | None = None
        self._dropped = self._in_file = 0
        self._begun = self._last = 0.0
        self._until = math.inf
        self._own = LogStatistics(outputs)

    @property
    def failed(self) -> OSError | None:
        """Why no more can be written; None: all is well."""
        if self._failed is None and self._log is not None:
            self._failed = self._log.failed
        return self._failed

    @property
    def dropped(self) -> int:
        """Rows that the disk did not take."""
        return self._dropped + (self._log.dropped if self._log is not None else 0)

    @property
    def path(self) -> Path:
        """The newest file, as it is called once it is whole."""
        return self.folder / f"rows-{self.count:04d}.{self.form}"

    def add(self, row: LogRow, *, written: bool) -> None:
        """One more row of the log; of those that are not written the statistics tell alone."""
        if self._log is None or self._in_file >= self._most or row.time >= self._until:
            try:
                self._next_file(row.time)
            except OSError as error:
                self._failed = self._failed or error
                return
        self.whole.add(row)
        self._own.add(row)
        if written:
            self.add_last(row)

    def add_last(self, row: LogRow) -> None:
        """Write a row that the statistics have already: also the last one of a log in which nothing moved."""
        assert self._log is not None
        self._in_file += 1
        self.rows += 1
        self._log.append(self._csv.line(row))
        self._last = row.time
        if self._parquet is not None:
            try:
                self._parquet.add(row)
            except OSError as error:
                self._failed = self._failed or error

    def close(self) -> None:
        """The last file is whole. Never raises: `failed` says what could not be written."""
        log, parquet = self._log, self._parquet
        if log is None:
            return
        log.close()
        self._failed, self._dropped = self._failed or log.failed, self._dropped + log.dropped
        self._log = self._parquet = None
        about = {
            "rows": self._in_file,
            "from_s": self._begun,
            "to_s": self._last,
            "instants": self._own.rows,
            "statistics": self._own.as_data(),
        }
        try:
            if parquet is not None:
                # What was not written whole stays as CSV.
                parquet.__exit__(None if self._failed is None else OSError, self._failed, None)
                if self._failed is None:
                    log.path.unlink()
            write_json(self.path.with_suffix(".json"), about)
        except OSError as error:
            self._failed = self._failed or error

    def _next_file(self, time: float) -> None:
        self.close()
        self.count += 1
        self._begun = self._last = time
        self._in_file = 0
        self._own = LogStatistics(self._outputs)
        # Edges of files lie on a grid, so that a row more or less moves none of them.
        turns = math.floor(time / self._lasting + 1e-9) if math.isfinite(self._lasting) else 0
        self._until = (turns + 1) * self._lasting - 1e-6
        self._log = Log(self.path.with_suffix(".csv"), reserve=False)
        self._log.append(self._csv.header, at_once=True)
        if self.form == "parquet":
            self._parquet = ParquetLog(self.path, self._outputs)
