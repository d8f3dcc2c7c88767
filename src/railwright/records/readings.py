"""The readings of a run on disk: gathered from its log, folded into one Parquet file an input, and read back.

One reader serves both, `read_story`: what a finished run's files hold is what its log tells.
"""

from __future__ import annotations

import os
from abc import ABC, abstractmethod
from array import array
from collections import Counter, defaultdict, deque
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, Self

from railwright.recordings.samples import Channel
from railwright.records import lines
from railwright.records.about import moment
from railwright.records.log import LogLines, decode_line, raw_lines
from railwright.records.names import LOG, UNFINISHED, multimeter_file, readings_file
from railwright.records.tables import schema_of, table_of
from railwright.regular import LARGEST_LOG
from railwright.traces import UNITS, Event, EventKind, Record, Span, Traces, header_of

if TYPE_CHECKING:
    import numpy as np
    import pyarrow as pa
    from numpy.typing import NDArray

ORIGIN = "supply readings"

NO_FACTS: Mapping[str, str] = {}

ROWS = 65_536
"""Rows of a row group: what is held in memory of each input while a log is folded."""

MOST_EVENTS = 10_000
"""Events of a run that are kept, the first and the last half each; the log holds all of them."""


class Events:
    """Events of a run in the order in which they came; of more than `most` those in the middle are only
    counted.
    """

    def __init__(self, most: int = MOST_EVENTS) -> None:
        self._first: list[Event] = []
        self._last: deque[Event] = deque(maxlen=most // 2)
        self._most = most // 2
        self.count = 0

    def add(self, event: Event) -> None:
        self.count += 1
        if len(self._first) < self._most:
            self._first.append(event)
        else:
            self._last.append(event)

    def shift(self, by: float) -> None:
        """Their times are less by so much [s]."""
        self._first = [replace(e, time=e.time - by) for e in self._first]
        self._last = deque((replace(e, time=e.time - by) for e in self._last), self._last.maxlen)

    def kept(self) -> list[Event]:
        """Those that are kept; one of its own stands for what was left out."""
        left_out = self.count - len(self._first) - len(self._last)
        if not left_out:
            return [*self._first, *self._last]
        told = f"{left_out} events from here on are in {LOG} only"
        gap = Event(self._first[-1].time, "run", EventKind.EVENTS_LEFT_OUT, text=told)
        return [*self._first, gap, *self._last]

    def ordered(self) -> tuple[Event, ...]:
        """Those that are kept, in order of time."""
        return tuple(sorted(self.kept(), key=lambda event: event.time))


TakeRow = Callable[[float, float, float, int], None]
"""Takes a reading of one input: time, voltage, current, mode (-1 where the output does not tell it)."""

TakeMultimeter = Callable[[float, float, float], None]
"""Takes a reading of one multimeter: time, value (NaN: beyond its range), what the exchange took."""


@dataclass
class Columns:
    """Readings of one input in memory."""

    at: str
    time: array[float] = field(default_factory=lambda: array("d"))
    voltage: array[float] = field(default_factory=lambda: array("d"))
    current: array[float] = field(default_factory=lambda: array("d"))
    mode: array[int] = field(default_factory=lambda: array("b"))

    def add(self, time: float, voltage: float, current: float, mode: int) -> None:
        self.time.append(time)
        self.voltage.append(voltage)
        self.current.append(current)
        self.mode.append(mode)

    def traces(self) -> Traces:
        """Channels as `Traces` names them: the voltage by where it was sensed, `mode` where it was told."""
        import numpy as np

        columns = {
            channel_of(self.at): np.array(self.voltage, dtype=np.float64),
            "current": np.array(self.current, dtype=np.float64),
        }
        if self.mode and min(self.mode) >= 0:
            columns["mode"] = np.array(self.mode, dtype=np.float64)
        return Traces(np.array(self.time, dtype=np.float64), columns)


def channel_of(at: str) -> str:
    """What the record calls a voltage that was sensed there."""
    return "voltage" if at == "at load" else "terminal_voltage"


class RowFile(ABC):
    """A Parquet file that is written a row group at a time; use as a context.

    The file is there whole or not at all. count: rows so far.
    """

    rows: int | None = None
    """Rows of a row group; None: `ROWS`."""

    def __init__(self, path: Path, schema: pa.Schema) -> None:
        from pyarrow import parquet

        self.count = 0
        self._path, self._beside = path, path.with_name(path.name + UNFINISHED)
        self._schema = schema
        self._file = open(self._beside, "wb")  # noqa: SIM115 - closed by __exit__
        self._writer = parquet.ParquetWriter(self._file, self._schema, use_dictionary=False)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        try:
            if kind is None:
                self._flush()
                self._writer.close()
                self._file.flush()
                os.fsync(self._file.fileno())
                self._file.close()
                os.replace(self._beside, self._path)
        finally:
            with suppress(OSError, ValueError):
                self._writer.close()
            with suppress(OSError):
                self._file.close()
            with suppress(OSError):
                # Makes room on a full disk, too.
                self._beside.unlink(missing_ok=True)

    def _added(self) -> None:
        """One more row is in memory."""
        self.count += 1
        if self.count % (self.rows or ROWS) == 0:
            self._flush()

    @abstractmethod
    def _taken(self) -> pa.Table:
        """The rows in memory, as a table of the file's columns; they are gone from there then."""

    def _flush(self) -> None:
        self._writer.write_table(self._taken())


class ParquetRows(RowFile):
    """Readings of one input on their way into a file.

    Columns `time_s`, `<input>_voltage_V` or `_terminal_voltage_V`, `<input>_current_A`, `<input>_mode` (null
    where the output did not tell it).
    """

    def __init__(self, path: Path, name: str, at: str, facts: Mapping[str, str] = NO_FACTS) -> None:
        channels = (channel_of(at), "current", "mode")
        units = {header_of(name, channel): UNITS[channel] for channel in channels}
        super().__init__(path, schema_of(facts, {"time_s": "s", **units}))
        self._at, self._columns = at, Columns(at)

    def add(self, time: float, voltage: float, current: float, mode: int) -> None:
        self._columns.add(time, voltage, current, mode)
        self._added()

    def _taken(self) -> pa.Table:
        import numpy as np

        columns, self._columns = self._columns, Columns(self._at)
        mode = np.array(columns.mode, dtype=np.float64)
        told = (columns.time, columns.voltage, columns.current)
        own = [*((each, None) for each in told), (array("d", columns.mode), mode >= 0)]
        return table_of(self._schema, own)


@dataclass
class MultimeterColumns:
    """Readings of one multimeter in memory: times [s], values [V, A] (NaN: beyond its range), and what each
    exchange took [s].
    """

    time: array[float] = field(default_factory=lambda: array("d"))
    value: array[float] = field(default_factory=lambda: array("d"))
    took: array[float] = field(default_factory=lambda: array("d"))

    def add(self, time: float, value: float, took: float) -> None:
        self.time.append(time)
        self.value.append(value)
        self.took.append(took)

    def readings(self) -> MultimeterReadings:
        import numpy as np

        time, value, took = (np.array(each, dtype=np.float64) for each in (self.time, self.value, self.took))
        return MultimeterReadings(time, value, took)


class MultimeterReadings(NamedTuple):
    """What a multimeter read, shapes (n,): when the answer had come [s of the run], the value [V, A] (NaN:
    beyond its range), and what the exchange took [s]: the aperture lies somewhere in it.
    """

    time: NDArray[np.float64]
    value: NDArray[np.float64]
    took: NDArray[np.float64]


class MultimeterRows(RowFile):
    """Readings of one multimeter on their way into a file: columns `time_s`, `value`, `took_s`."""

    def __init__(self, path: Path, unit: str, facts: Mapping[str, str] = NO_FACTS) -> None:
        super().__init__(path, schema_of(facts, {"time_s": "s", "value": unit, "took_s": "s"}))
        self._columns = MultimeterColumns()

    def add(self, time: float, value: float, took: float) -> None:
        self._columns.add(time, value, took)
        self._added()

    def _taken(self) -> pa.Table:
        import numpy as np

        columns, self._columns = self._columns, MultimeterColumns()
        value = np.array(columns.value, dtype=np.float64)
        own = [(columns.time, None), (columns.value, ~np.isnan(value)), (columns.took, None)]
        return table_of(self._schema, own)


def read_multimeter(path: Path) -> MultimeterReadings:
    """What `MultimeterRows` wrote. OSError or ValueError where it is something else."""
    from railwright.recordings.opening import open_recording

    with open_recording(path, time="time", largest=LARGEST_LOG) as recording:
        own = {column.name: Channel(place) for place, column in recording.channels}
        if set(own) != {"value", "took"}:
            raise ValueError(f"expected the columns value and took, got {', '.join(own) or 'none'}")
        samples = recording.read([own["value"], own["took"]], most=None, checked=False)
    return MultimeterReadings(samples.time, *samples.values)


def read_parquet(path: Path, name: str) -> Traces:
    """What `ParquetRows` wrote; a mode that was not told throughout is left out. OSError or ValueError where
    it is something else.
    """
    import numpy as np

    from railwright.recordings.opening import open_recording

    with open_recording(path, time="time", largest=LARGEST_LOG) as recording:
        own = {column.name.removeprefix(f"{name}_"): Channel(place) for place, column in recording.channels}
        samples = recording.read(list(own.values()), most=None, checked=False)
    columns = dict(zip(own, samples.values, strict=True))
    if "mode" in columns and (not samples.time.size or np.isnan(columns["mode"]).any()):
        del columns["mode"]
    return Traces(samples.time, columns)


@dataclass
class Story:
    """What a log tells besides the readings. recovered: what of it was no whole line, empty where it is
    whole. ended: how the run ended, as the log has it; empty where it does not tell. zero: where the record's
    time begins on the clock of run and guard [s]; None: an earlier version did not tell. began: the time of
    day then (ISO 8601); empty where the record never began, or an earlier version did not tell. multimeters:
    how many readings of each. instruments: what each said that it is, by its name. proved: the lines of what
    was proved of dialects.
    """

    events: Events = field(default_factory=Events)
    spans: list[Span] = field(default_factory=list)
    rows: Counter[str] = field(default_factory=Counter)
    recovered: str = ""
    ended: str = ""
    zero: float | None = None
    began: str = ""
    multimeters: Counter[str] = field(default_factory=Counter)
    instruments: dict[str, Mapping[str, str]] = field(default_factory=dict)
    proved: list[Mapping[str, Any]] = field(default_factory=list)


def read_story(
    log: Path, rows_of: Callable[[str, str], TakeRow], meter: Callable[[str], TakeMultimeter]
) -> Story:
    """Follow a log from its first line to its last; times logged before the record began are of its own time.

    rows_of: asked once for each input, with where its voltage was sensed, for what takes its readings; meter:
    once for each multimeter. Takes constant memory but for that. OSError, or ValueError, KeyError or
    TypeError where it is no log of a run.
    """
    story, told = Story(), LogLines(log)
    rows: dict[str, TakeRow] = {}
    meters: dict[str, TakeMultimeter] = {}
    begun: dict[str, Any] | None = None
    early, last = sum(_shifts(log)), 0.0
    for line in told:
        match line["kind"]:
            case lines.RUN if line.get("clock") is not None:
                story.zero = float(line["clock"]) + early
            case lines.INSTRUMENT:
                story.instruments[line["name"]] = line["identification"]
            case lines.PROVED:
                story.proved.append({key: each for key, each in line.items() if key != "kind"})
            case lines.ZERO:
                early -= float(line["shift"])
                story.began = str(line.get("began") or "")
                moment(story.began)
            case lines.READING:
                name, last = line["input"], float(line["time"]) - early
                if name not in rows:
                    rows[name] = rows_of(name, line["at"])
                rows[name](last, _number(line["voltage"]), _number(line["current"]), int(line["mode"]))
                story.rows[name] += 1
            case lines.MULTIMETER:
                name = line["name"]
                if name not in meters:
                    meters[name] = meter(name)
                time = float(line["time"]) - early
                meters[name](time, _number(line["value"]), _number(line["took"]))
                story.multimeters[name] += 1
            case lines.EVENT:
                time = float(line["time"]) - early
                story.events.add(Event.from_data({**line, "time": time}))
            case lines.STEP_BEGINS:
                begun = line
            case lines.STEP_ENDS if begun is not None:
                story.spans.append(lines.step_of(begun, line))
                begun = None
            case lines.END:
                story.ended = str(line["ended"])
    if begun is not None:
        end = max(last, float(begun["time"]))
        story.spans.append(lines.step_of(begun, {"time": end, "points": (), "whole": False}))
    story.recovered = told.recovered
    return story


def fold(
    log: Path,
    folder: Path,
    at: Mapping[str, str],
    multimeters: Mapping[str, str] = NO_FACTS,
    facts: Mapping[str, str] = NO_FACTS,
) -> Story:
    """Fold the readings of a log into one file an input, `at` says which and where each voltage was sensed;
    and one a multimeter, with the unit of what it reads. facts: what the files say of themselves.

    Errors as `read_story`, or OSError where a file cannot be written, which is not there then.
    """
    with ExitStack() as files:
        own = {
            name: files.enter_context(ParquetRows(readings_file(folder, name), name, where, facts))
            for name, where in at.items()
        }
        meters = {
            name: files.enter_context(MultimeterRows(multimeter_file(folder, name), unit, facts))
            for name, unit in multimeters.items()
        }
        return read_story(log, lambda name, _: own[name].add, lambda name: meters[name].add)


def read_record(log: Path) -> tuple[Record, dict[str, MultimeterReadings], Story]:
    """The whole record as its log tells it, in memory, with what each multimeter read, and the story. Errors
    as `read_story`.
    """
    meters: dict[str, MultimeterColumns] = defaultdict(MultimeterColumns)
    columns: dict[str, Columns] = {}

    def rows_of(name: str, at: str) -> TakeRow:
        return columns.setdefault(name, Columns(at)).add

    story = read_story(log, rows_of, lambda name: meters[name].add)
    traces = {name: own.traces() for name, own in columns.items()}
    record = Record(ORIGIN, traces, story.events.ordered(), tuple(story.spans))
    return record, {name: own.readings() for name, own in meters.items()}, story


class StoredTraces(Mapping[str, Traces]):
    """Readings of a run that is over, read when they are asked for: from the files, else from the log.

    Raises what `read_parquet` and `read_record` raise where neither can be read.
    """

    def __init__(self, folder: Path, names: tuple[str, ...]) -> None:
        self._folder, self._names = folder, names
        self._read: dict[str, Traces] = {}

    def __getitem__(self, name: str) -> Traces:
        if name not in self._names:
            raise KeyError(name)
        if name not in self._read:
            path = readings_file(self._folder, name)
            if path.exists():
                self._read[name] = read_parquet(path, name)
            else:
                logged, _, _ = read_record(self._folder / LOG)
                empty = Columns("").traces()
                self._read = {**{n: logged.traces.get(n, empty) for n in self._names}, **self._read}
        return self._read[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)


def _shifts(log: Path) -> Iterator[float]:
    """By how much the record's time was moved when it began [s]: a quick look through the whole log."""
    begin = f'{{"kind":"{lines.ZERO}"'.encode()
    for raw in raw_lines(log):
        # As the log writes it; decoding every line would take as long as reading them all.
        if raw.startswith(begin) and (line := decode_line(raw)):
            yield float(line["shift"])


def _number(value: Any) -> float:
    """null stands for what was no number."""
    return float("nan") if value is None else float(value)
