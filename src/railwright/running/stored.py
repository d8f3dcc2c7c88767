"""A run read back from its folder: whole, or, where it was killed, as far as its log goes."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from railwright.running.folder import EVENTS, LOG, RUN, SETTINGS, events_of, read_parquet, spans_of
from railwright.running.log import read_log
from railwright.running.manifest import Differences, verify_manifest
from railwright.running.outcome import Ended
from railwright.running.recorder import ORIGIN, Columns
from railwright.traces import HOW_PLAYED, Event, Record, Span


class NoRun(ValueError):
    """A folder that holds no run, or one that cannot be read; one line that says which file, and what is
    wrong.
    """


@dataclass(frozen=True, eq=False)
class RunData:
    """A run as it lies on disk.

    about: what `run.json` says. settings: what the check had settled. complete: it came to its end, and wrote
    down how. procedure: the procedure document as it was; None for a run of documents made in code.
    """

    folder: Path
    about: Mapping[str, Any]
    settings: Mapping[str, Any]
    record: Record
    ended: Ended
    differences: Differences
    procedure: Path | None

    @property
    def complete(self) -> bool:
        return self.ended is not Ended.KILLED


def open_run(folder: Path) -> RunData:
    """Read a run. NoRun where there is none; files that changed since are named in `differences`, not
    refused.
    """
    about = _json(folder / RUN, dict)
    settings = _json(folder / SETTINGS, dict)
    differences = verify_manifest(folder)
    placed = about.get("documents") or {}
    procedure = folder / placed["procedure"] if "procedure" in placed else None
    try:
        if about.get("ended") is None:
            record, ended = read_record(folder / LOG), Ended.KILLED
        else:
            record, ended = _finished(folder, about), Ended(about["ended"])
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise NoRun(f"{folder}: expected the record of a run, got {_told(error)}") from error
    return RunData(folder, about, settings, record, ended, differences, procedure)


def _finished(folder: Path, about: Mapping[str, Any]) -> Record:
    traces = {name: read_parquet(folder / f"record-{name}.parquet", name) for name in about["sensed"]}
    events = events_of(_json(folder / EVENTS, list))
    return Record(ORIGIN, traces, events, spans_of(about["steps"], Ended(about["ended"]) is Ended.COMPLETED))


def read_record(log: Path) -> Record:
    """The record as its log tells it; times logged before the record began are shifted to its own."""
    columns: dict[str, Columns] = {}
    events: list[Event] = []
    spans: list[Span] = []
    begun: dict[str, Any] | None = None
    last = 0.0
    for line in read_log(log):
        match line["kind"]:
            case "zero":
                shift = float(line["shift"])
                events = [Event(e.time - shift, e.subject, e.what, e.detail) for e in events]
            case "reading":
                last = float(line["time"])
                own = columns.setdefault(line["input"], Columns(line["at"]))
                own.add(last, float(line["voltage"]), float(line["current"]), int(line["mode"]))
            case "event":
                events.append(Event(float(line["time"]), line["subject"], line["what"], line["detail"]))
            case "step begins":
                begun = line
            case "step ends":
                if begun is not None:
                    spans.append(_span({**begun, **line, "time": begun["time"], "end": line["time"]}))
                begun = None
    if begun is not None:
        spans.append(_span({**begun, "end": max(last, float(begun["time"])), "points": (), "whole": False}))
    ordered = tuple(sorted(events, key=lambda event: event.time))
    return Record(ORIGIN, {name: own.traces() for name, own in columns.items()}, ordered, tuple(spans))


def _span(line: Mapping[str, Any]) -> Span:
    points = tuple((float(v), float(a), float(b)) for v, a, b in line["points"])
    return Span(
        line["name"],
        line["step"],
        float(line["time"]),
        float(line["end"]),
        tuple(line["inputs"]),
        points,
        **{key: line[key] for key in HOW_PLAYED if key in line},
    )


def _json(path: Path, kind: type) -> Any:
    try:
        data = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError) as error:
        raise NoRun(f"{path}: expected a file of a run, got {_told(error)}") from error
    if not isinstance(data, kind):
        raise NoRun(f"{path}: expected a file of a run, got JSON of another form")
    return data


def _told(error: Exception) -> str:
    if isinstance(error, FileNotFoundError):
        return "nothing there"
    if isinstance(error, KeyError):
        return f"no entry {error}"
    return str(error).splitlines()[0] if str(error) else type(error).__name__
