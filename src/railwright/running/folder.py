"""The folder of a run: what was written, asked, measured and found, readable by anyone without this program.

documents/ as they were, settings.json, log.ndjson, record-<input>.parquet, events.json, run.json,
manifest.json.
"""

from __future__ import annotations

import datetime as dt
import os
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from railwright import __version__
from railwright.documents.bench import Bench, Calibration
from railwright.documents.loader import Documents
from railwright.rehearsal.setpoints import SetPoints
from railwright.running.manifest import write_json, write_manifest
from railwright.running.outcome import RunOutcome
from railwright.running.plan import Plan
from railwright.traces import HOW_PLAYED, Event, Span, Traces

if TYPE_CHECKING:
    from railwright.instruments.supply import Identity

LOG, RUN, EVENTS, SETTINGS, DOCUMENTS = "log.ndjson", "run.json", "events.json", "settings.json", "documents"


@dataclass(frozen=True)
class RunFolder:
    """A run's folder while the run goes on."""

    path: Path
    about: dict[str, Any]

    @classmethod
    def create(
        cls, path: Path, documents: Documents, settings: Mapping[str, Any], about: dict[str, Any]
    ) -> RunFolder:
        """Write what is known before the run. `run.json` says until `finish` that it has not ended."""
        path.mkdir(parents=True, exist_ok=True)
        about = {**about, "documents": copy_documents(documents, path / DOCUMENTS)}
        write_json(path / SETTINGS, settings)
        write_json(path / RUN, about)
        return cls(path, about)

    @property
    def log_path(self) -> Path:
        return self.path / LOG

    def finish(
        self, outcome: RunOutcome, identities: Mapping[str, Identity | None], began: dt.datetime | None
    ) -> OSError | None:
        """Write the record and what became of the run. Gives what could not be written; the log is there."""
        instruments = [
            {**instrument, "identification": _identification(identities.get(instrument["name"]))}
            for instrument in self.about["instruments"]
        ]
        finished = dt.datetime.now().astimezone()
        end = max((float(t.time[-1]) for t in outcome.record.traces.values() if t.time.size), default=0.0)
        about = {
            **self.about,
            "instruments": instruments,
            "began": began.isoformat() if began else None,
            "finished": finished.isoformat(),
            "duration": end,
            "ended": str(outcome.ended),
            "cause": outcome.cause,
            "energised": outcome.energised,
            "switched_off": {
                name: {
                    "verified": off.verified,
                    "threshold": off.threshold,
                    "fell_after": off.fell_after,
                    "residual": off.residual,
                }
                for name, off in outcome.switched_off.items()
            },
            "cautions": list(outcome.cautions),
            "deviations": list(outcome.deviations),
            "worst_lateness": outcome.worst_lateness,
            "missed_readings": outcome.missed_readings,
            "steps": [_span_data(span) for span in outcome.record.spans],
        }
        try:
            for name, traces in outcome.record.traces.items():
                write_parquet(self.path / f"record-{name}.parquet", name, traces)
            write_json(self.path / EVENTS, [_event_data(event) for event in outcome.record.events])
            write_json(self.path / RUN, about)
            write_manifest(self.path)
        except OSError as error:
            return error
        return None


def describe_run(
    documents: Documents, set_points: SetPoints, *, unit: str, operator: str, started: dt.datetime, plan: Plan
) -> dict[str, Any]:
    """What `run.json` says before the run: who, what, where, with which instruments. SI units, times in ISO
    8601.
    """
    bench, device, procedure = documents.bench, documents.device, documents.procedure
    laboratory = bench.laboratory
    supplies = dict.fromkeys(o.output.partition(".")[0] for f in set_points.values() for o in f.outputs)
    return {
        "run": f"{started:%Y%m%d-%H%M%S}-{uuid.uuid4().hex[:8]}",
        "software": f"railwright {__version__}",
        "procedure": procedure.procedure,
        "device": device.device,
        "revision": device.revision,
        "unit": unit,
        "operator": operator,
        "bench": bench.bench,
        "laboratory": {"name": laboratory.name, "address": laboratory.address} if laboratory else None,
        "ambient": bench.ambient.text,
        "started": started.isoformat(),
        "nominal_duration": plan.duration,
        "sensed": {name: feed.sense for name, feed in set_points.items()},
        "instruments": [_instrument(bench, name) for name in supplies],
        "ended": None,
    }


def copy_documents(documents: Documents, folder: Path) -> dict[str, str]:
    """The documents as they were read, laid out so that their paths to each other still hold, with the files
    that a device document names beside it.

    Gives document -> path in the run folder. An absolute path in a document still points to where it did.
    """
    sources = documents.sources
    if not sources:
        return {}
    paths = {kind: Path(os.path.abspath(source.path)) for kind, source in sources.items()}
    beside = {
        Path(os.path.abspath(source.path.parent / name)): raw
        for source in sources.values()
        for name, raw in source.beside.items()
    }
    common = Path(os.path.commonpath([path.parent for path in (*paths.values(), *beside)]))
    placed = {}
    for kind, source in sources.items():
        goal = folder / paths[kind].relative_to(common)
        goal.parent.mkdir(parents=True, exist_ok=True)
        goal.write_bytes(source.content)
        placed[str(kind)] = goal.relative_to(folder.parent).as_posix()
    for path, raw in beside.items():
        goal = folder / path.relative_to(common)
        goal.parent.mkdir(parents=True, exist_ok=True)
        goal.write_bytes(raw)
    return placed


def column_names(name: str, traces: Traces) -> dict[str, str]:
    """Channel -> column of a file: `voltage` of main is `main_voltage_V`."""
    units = {"voltage": "_V", "terminal_voltage": "_V", "current": "_A", "mode": ""}
    return {channel: f"{name}_{channel}{units[channel]}" for channel in traces.columns}


def write_parquet(path: Path, name: str, traces: Traces) -> None:
    """Columns `time_s`, `<input>_voltage_V` or `_terminal_voltage_V`, `<input>_current_A`, `<input>_mode`."""
    import pyarrow as pa
    from pyarrow import parquet

    columns = {"time_s": traces.time}
    columns |= {column: traces.columns[channel] for channel, column in column_names(name, traces).items()}
    beside = path.with_name(path.name + ".part")
    parquet.write_table(pa.table(columns), beside)
    os.replace(beside, path)


def read_parquet(path: Path, name: str) -> Traces:
    """What `write_parquet` wrote. OSError or ValueError where it is something else."""
    from pyarrow import parquet

    table = parquet.ParquetFile(path).read()
    columns = {column: table.column(column).to_numpy() for column in table.column_names}
    channels = {
        column.removeprefix(f"{name}_").removesuffix("_V").removesuffix("_A"): values
        for column, values in columns.items()
        if column != "time_s"
    }
    return Traces(columns["time_s"], channels)


def _instrument(bench: Bench, name: str) -> dict[str, Any]:
    supply = bench.supplies[name]
    return {
        "name": name,
        "kind": "supply",
        "address": supply.address,
        "dialect": supply.dialect,
        "model": supply.model,
        "serial": supply.serial,
        "calibration": calibration_data(supply.calibrated),
        "identification": None,
    }


def calibration_data(calibration: Calibration | None) -> dict[str, str] | None:
    """Dates and certificate as text; None: the bench does not state it."""
    if calibration is None:
        return None
    return {
        "on": calibration.on.isoformat(),
        "due": calibration.due.isoformat(),
        "certificate": calibration.certificate,
    }


def _identification(identity: Identity | None) -> dict[str, str] | None:
    if identity is None:
        return None
    return {
        "maker": identity.maker,
        "model": identity.model,
        "serial": identity.serial,
        "version": identity.version,
    }


def _span_data(span: Span) -> dict[str, Any]:
    return {
        "name": span.name,
        "kind": span.kind,
        "start": span.start,
        "end": span.end,
        "inputs": list(span.inputs),
        "points": [list(point) for point in span.points],
        **{key: getattr(span, key) for key in HOW_PLAYED},
    }


def _event_data(event: Event) -> dict[str, Any]:
    return {"time": event.time, "subject": event.subject, "what": event.what, "detail": event.detail}


def spans_of(data: Sequence[Mapping[str, Any]], completed: bool) -> tuple[Span, ...]:
    """Spans from `run.json`.

    completed: the whole procedure was played. Of a run that was not, by a version that did not yet say which
    steps were played to their end, the last is taken not to have been.
    """
    return tuple(
        Span(
            str(entry["name"]),
            str(entry["kind"]),
            float(entry["start"]),
            float(entry["end"]),
            tuple(entry["inputs"]),
            tuple((float(v), float(a), float(b)) for v, a, b in entry["points"]),
            whole=bool(entry.get("whole", completed or entry is not data[-1])),
            late=float(entry.get("late", 0.0)),
            left_out=int(entry.get("left_out", 0)),
            time_error=float(entry.get("time_error", 0.0)),
        )
        for entry in data
    )


def events_of(data: Iterable[Mapping[str, Any]]) -> tuple[Event, ...]:
    """Events from `events.json`."""
    return tuple(Event(float(e["time"]), str(e["subject"]), str(e["what"]), str(e["detail"])) for e in data)
