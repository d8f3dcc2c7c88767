"""A run read back from its folder: whole, or, where it was killed, as far as its log goes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from railwright.frozen import freeze
from railwright.printable import printable
from railwright.records.about import check_about
from railwright.records.codec import Misfit
from railwright.records.ended import Ended
from railwright.records.finished import events_of, missing_rows, spans_of
from railwright.records.going import who_goes_on
from railwright.records.guard_journal import end_by_guard, read_journal
from railwright.records.manifest import Differences, verify_manifest
from railwright.records.names import (
    EVENTS,
    GUARD_LOG,
    LOG,
    RUN,
    SETTINGS,
    decides,
    multimeter_file,
    readings_file,
)
from railwright.records.readings import (
    ORIGIN,
    MultimeterReadings,
    Story,
    read_multimeter,
    read_parquet,
    read_record,
)
from railwright.regular import json_of
from railwright.traces import VOLTAGES, Record


class NoRun(ValueError):
    """A folder that holds no run, or one that cannot be read; one line that says which file, and what is
    wrong.
    """

    def __init__(self, told: str) -> None:
        super().__init__(printable(told, one_line=True))


@dataclass(frozen=True, eq=False)
class RunData:
    """A run as it lies on disk.

    about: what `run.json` says; of a run that was killed, with how its guard switched off. settings: what the
    check had settled. complete: it came to its end, and wrote down how. procedure: the procedure document as
    it was; None for a run of documents made in code. recovered: what was read otherwise than from whole
    files, one line each. multimeters: what each of them read.
    """

    folder: Path
    about: Mapping[str, Any]
    settings: Mapping[str, Any]
    record: Record
    ended: Ended
    differences: Differences
    procedure: Path | None
    recovered: tuple[str, ...] = ()
    multimeters: Mapping[str, MultimeterReadings] = field(default_factory=dict)

    def __post_init__(self) -> None:
        freeze(self, "about", "settings", "multimeters")

    @property
    def complete(self) -> bool:
        return self.ended is not Ended.KILLED

    @property
    def whole(self) -> bool:
        """Every reading that was taken is in the record."""
        return self.complete and not self.differences.record

    @property
    def doubts(self) -> tuple[str, ...]:
        """What an evaluation is made from and is not as the run left it, one line each.

        That a run which was killed has no manifest is none.
        """
        decisive = self.differences.of(decides)
        return (decisive if self.complete else replace(decisive, manifest="")).lines()


def open_run(folder: Path) -> RunData:
    """Read a run. NoRun where there is none, or where it still goes on; files that changed since are named in
    `differences`, not refused.
    """
    if not folder.is_dir():
        got = "it is a file" if folder.exists() else "no such folder"
        raise NoRun(f"{folder}: expected the folder of a run; {got}")
    # Before it is read how it ended: a run that ends meanwhile has written that before it lets go.
    still = who_goes_on(folder)
    about = _json(folder / RUN, dict)
    if still and about.get("ended") is None:
        raise NoRun(f"{folder}: expected a run that is over, got {still}; ask again once it has ended")
    settings = _json(folder / SETTINGS, dict)
    with reading(folder / RUN):
        check_about(about)
    differences = verify_manifest(folder)
    try:
        placed = about.get("documents") or {}
        procedure = folder / placed["procedure"] if "procedure" in placed else None
        if about.get("ended") is None:
            ended = Ended.KILLED
            record, meters, about, recovered = _killed(folder, about)
        else:
            (record, meters, recovered), ended = _finished(folder, about), Ended(about["ended"])
            kept = {name: traces.time.size for name, traces in record.traces.items()}
            lost = missing_rows(about.get("rows") or {}, kept)
            read = {name: readings.time.size for name, readings in meters.items()}
            lost += missing_rows(about.get("multimeter_rows") or {}, read, multimeter_file)
            differences = replace(differences, record=tuple(lost))
            if not (folder / LOG).exists() and LOG not in differences.missing and not differences.manifest:
                # Every run has one, whatever the manifest says.
                differences = replace(differences, missing=(*differences.missing, LOG))
    except NoRun:
        raise
    except (OSError, ValueError, KeyError, TypeError, AttributeError, OverflowError) as error:
        raise NoRun(f"{folder}: expected the record of a run, got {_told(error)}") from error
    return RunData(folder, about, settings, record, ended, differences, procedure, tuple(recovered), meters)


def _finished(
    folder: Path, about: Mapping[str, Any]
) -> tuple[Record, dict[str, MultimeterReadings], list[str]]:
    """What the run wrote at its end; the log stands in for what it could not write."""
    paths = {name: readings_file(folder, name) for name in about["sensed"]}
    # An earlier version read no multimeters.
    others = {name: multimeter_file(folder, name) for name in about.get("multimeter_rows") or {}}
    whole = (*paths.values(), *others.values(), folder / EVENTS)
    absent = [path.name for path in whole if not path.exists()]
    with reading(folder / RUN):
        spans = spans_of(about.get("steps"), Ended(about["ended"]) is Ended.COMPLETED)
    if absent:
        record, meters, story = read_record(folder / LOG)
        told = f"{', '.join(absent)}: not there; everything was read from {LOG}"
        return replace(record, spans=spans), meters, [told, *_recovered(story, ended_told=True)]
    events = _json(folder / EVENTS, list)
    with reading(folder / EVENTS):
        story_told = events_of(events)
    traces = {name: read_parquet(path, name) for name, path in paths.items()}
    meters = {name: read_multimeter(path) for name, path in others.items()}
    return Record(ORIGIN, traces, story_told, spans), meters, []


def _recovered(story: Story, ended_told: bool) -> list[str]:
    told = [story.recovered] if story.recovered else []
    if story.ended and not ended_told:
        told.append(f"{RUN}: does not say how the run ended; {LOG} says '{story.ended}'")
    return told


def _killed(
    folder: Path, about: Mapping[str, Any]
) -> tuple[Record, dict[str, MultimeterReadings], Mapping[str, Any], list[str]]:
    """What the log tells of a run that was killed, with what its guard's journal tells of the end."""
    record, meters, story = read_record(folder / LOG)
    recovered = _recovered(story, ended_told=False)
    instruments = [
        {**each, "identification": story.instruments.get(each["name"])} for each in about["instruments"]
    ]
    about = {**about, "instruments": instruments, "proved": story.proved, "began": story.began or None}

    def newest(name: str) -> tuple[float, float] | None:
        traces = record.traces.get(name)
        if traces is None or not traces.time.size:
            return None
        voltage = next(traces.columns[each] for each in VOLTAGES if each in traces.columns)
        return float(traces.time[-1]), float(voltage[-1])

    try:
        told = end_by_guard(read_journal(folder / GUARD_LOG), story.zero, newest)
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        return (
            record,
            meters,
            about,
            [*recovered, f"{GUARD_LOG}: does not say how the outputs ended: {_told(error)}"],
        )
    # A run that was killed while it was ending has written down some of it itself.
    known = {(event.subject, event.what) for event in record.events}
    more = [event for event in told.events if (event.subject, event.what) not in known]
    events = sorted((*record.events, *more), key=lambda event: event.time)
    return replace(record, events=tuple(events)), meters, {**about, **told.about}, recovered


@contextmanager
def reading(path: Path) -> Iterator[None]:
    """What in a file of a run is no fit becomes the line of a NoRun with its place."""
    try:
        yield
    except Misfit as error:
        raise NoRun(f"{path}: {error}") from None


def _json(path: Path, kind: type) -> Any:
    try:
        data = json_of(path)
    except (OSError, ValueError, RecursionError) as error:
        raise NoRun(f"{path}: expected a file of a run, got {_told(error)}") from error
    if not isinstance(data, kind):
        raise NoRun(f"{path}: expected a file of a run, got JSON of another form")
    return data


def _told(error: Exception) -> str:
    if isinstance(error, FileNotFoundError | NotADirectoryError):
        return "nothing there"
    if isinstance(error, RecursionError):
        return "JSON nested too deeply"
    if isinstance(error, KeyError):
        return f"no entry {error}"
    return str(error).splitlines()[0] if str(error) else type(error).__name__
