"""The folder of a run: what was written, asked, measured and found, readable by anyone without this program.

documents/ as they were, settings.json, log.ndjson, guard.ndjson, record-<input>.parquet, events.json,
run.json, manifest.json.
"""

from __future__ import annotations

import datetime as dt
import os
import re
import threading
import uuid
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from railwright.documents.bench import Bench, Calibration
from railwright.documents.files import bytes_of
from railwright.documents.loader import Documents
from railwright.plan.contacts import contacts_of
from railwright.plan.plan import Plan
from railwright.plan.set_points import SetPoints
from railwright.records.ended import SWITCHED_OFF
from railwright.records.finished import STEPS, missing_rows
from railwright.records.manifest import as_json, write_json, write_manifest, write_together
from railwright.records.names import DOCUMENTS, EVENTS, LOG, MANIFEST, RUN, SETTINGS, multimeter_file
from railwright.records.readings import fold
from railwright.records.tables import facts_of
from railwright.running.outcome import RunOutcome
from railwright.traces import UNITS
from railwright.version import SOFTWARE

if TYPE_CHECKING:
    from railwright.instruments.supply import Identity
    from railwright.running.recorder import RunRecorder

ANSWER_LIMIT = 2.0
"""How long a disk that hung may take to write a small file at the end of the run [s]."""


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
        copies, placed = copies_of(documents, path / DOCUMENTS)
        about = {**about, "documents": placed}
        own = {path / SETTINGS: as_json(settings), path / RUN: as_json(about)}
        write_together({**copies, **own}, new=True, folders=True)
        return cls(path, about)

    def finish(
        self,
        outcome: RunOutcome,
        identities: Mapping[str, Identity | None],
        began: dt.datetime | None,
        recorder: RunRecorder,
        proved: Sequence[Mapping[str, Any]] = (),
    ) -> tuple[str, ...]:
        """Write what became of the run, and fold its log into files; the recorder is closed by then.
        proved: what it rested on of what was proved of its dialects.

        Gives one line for each thing that could not be written, or that the log lost; what was written stays.
        Never raises.
        """
        if isinstance(recorder.failed, TimeoutError) and not self._answers():
            return ("nothing could be written: the disk hangs",)
        about = {**self.about, **self._ending(outcome, identities, began, recorder), "proved": list(proved)}
        record, unwritten = outcome.record, []
        # The smallest and most telling first: on a disk that is nearly full there may be room for that only.
        parts: dict[str, Callable[[], object]] = {
            RUN: lambda: write_json(self.path / RUN, about),
            EVENTS: lambda: write_json(self.path / EVENTS, [event.as_data() for event in record.events]),
            "record": lambda: unwritten.extend(self._fold(recorder, facts_of(about))),
            MANIFEST: lambda: write_manifest(self.path),
        }
        for name, write in parts.items():
            try:
                write()
            except Exception as error:  # noqa: BLE001 - the run is over: its outcome has to come back
                unwritten.append(f"{name} could not be written: {error}")
        return tuple(unwritten)

    def _ending(
        self,
        outcome: RunOutcome,
        identities: Mapping[str, Identity | None],
        began: dt.datetime | None,
        recorder: RunRecorder,
    ) -> dict[str, Any]:
        """What `run.json` says once the run is over. rows: readings of each input that were taken."""
        return {
            "instruments": [
                {**instrument, "identification": identity.fields if identity else None}
                for instrument in self.about["instruments"]
                for identity in (identities.get(instrument["name"]),)
            ],
            "began": began.isoformat() if began else None,
            "finished": _finished(began, recorder).isoformat(),
            "duration": max((reading.time for reading in recorder.newest.values()), default=0.0),
            "ended": str(outcome.ended),
            "cause": outcome.cause,
            "energised": outcome.energised,
            "off_confirmed": outcome.off_confirmed,
            "not_confirmed": list(outcome.not_confirmed),
            "switched_off": SWITCHED_OFF.write(outcome.switched_off),
            "cautions": list(outcome.cautions),
            "deviations": list(outcome.deviations),
            "worst_lateness": outcome.worst_lateness,
            "missed_readings": outcome.missed_readings,
            "settings_periods": dict(outcome.settings_periods),
            "rows": dict(recorder.rows),
            "multimeter_rows": dict(recorder.multimeter_rows),
            "lines_dropped": recorder.log.dropped,
            "longest_sync": recorder.log.longest_sync,
            "steps": STEPS.write(outcome.record.spans),
        }

    def _answers(self) -> bool:
        """Whether the disk takes a file at all: one that hangs would hold up the ending for ever."""
        done = threading.Event()

        def write_again() -> None:
            with suppress(OSError):
                write_json(self.path / RUN, self.about)
            done.set()

        threading.Thread(target=write_again, name="disk", daemon=True).start()
        return done.wait(ANSWER_LIMIT)

    def _fold(self, recorder: RunRecorder, facts: Mapping[str, str]) -> list[str]:
        """The log as Parquet files, which say this of themselves. Gives what the log does not hold."""
        meters = recorder.multimeter_rows
        units = {
            each["name"]: UNITS[each["quantity"]]
            for each in self.about["instruments"]
            if each["kind"] == "multimeter" and each["name"] in meters
        }
        story = fold(self.path / LOG, self.path, self.about["sensed"], units, facts)
        lost = [story.recovered] if story.recovered else []
        lost += missing_rows(recorder.rows, story.rows)
        return [*lost, *missing_rows(meters, story.multimeters, multimeter_file)]


def _finished(began: dt.datetime | None, recorder: RunRecorder) -> dt.datetime:
    """Now; by the clock of the record where that began: a time of day that was set meanwhile, or a run in
    simulated time, is none of its length.
    """
    return began + dt.timedelta(seconds=recorder.now()) if began else dt.datetime.now().astimezone()


def default_folder(procedure: Path, unit: str) -> Path:
    """Where a run is kept that is given no folder: runs/<procedure>-<unit>-<time>."""
    stem = procedure.name.split(".")[0]
    safe = re.sub(r"[^A-Za-z0-9_-]+", "-", unit).strip("-") or "unit"
    return Path("runs") / f"{stem}-{safe}-{dt.datetime.now():%Y%m%d-%H%M%S}"


def describe_run(
    documents: Documents, set_points: SetPoints, *, unit: str, operator: str, started: dt.datetime, plan: Plan
) -> dict[str, Any]:
    """What `run.json` says before the run: who, what, where, with which instruments. SI units, times in ISO
    8601.
    """
    bench, device, procedure = documents.bench, documents.device, documents.procedure
    laboratory = bench.laboratory
    supplies = dict.fromkeys(o.output.supply for f in set_points.values() for o in f.outputs)
    lies = contacts_of(documents, set_points)
    return {
        "run": f"{started:%Y%m%d-%H%M%S}-{uuid.uuid4().hex[:8]}",
        "software": SOFTWARE,
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
        "instruments": [
            *(_instrument(bench, name) for name in supplies),
            *(_multimeter(bench, name) for name in procedure.multimeters),
            *(_relays(bench, name) for name in dict.fromkeys(each.instrument for each in lies.values())),
        ],
        "dialects": {each.name: each.digest for each in (bench.supplies[name].dialect for name in supplies)},
        "ended": None,
    }


def copies_of(documents: Documents, folder: Path) -> tuple[dict[Path, Iterable[bytes]], dict[str, str]]:
    """What copies of the documents hold as they were read, laid out so that their paths to each other still
    hold, with the files that a device document names beside it; and document -> path in the run folder.

    An absolute path in a document still points to where it did. Of a recording that has changed since it was
    read, the pieces raise RecordingError.
    """
    sources = documents.sources
    if not sources:
        return {}, {}
    paths = {kind: Path(os.path.abspath(source.path)) for kind, source in sources.items()}
    beside = {
        Path(os.path.abspath(source.path.parent / name)): found
        for source in sources.values()
        for name, found in source.beside.items()
    }
    common = Path(os.path.commonpath([path.parent for path in (*paths.values(), *beside)]))
    goals = {kind: folder / path.relative_to(common) for kind, path in paths.items()}
    copies: dict[Path, Iterable[bytes]] = {
        goals[kind]: bytes_of(source.content) for kind, source in sources.items()
    }
    copies |= {folder / path.relative_to(common): bytes_of(found) for path, found in beside.items()}
    return copies, {str(kind): goal.relative_to(folder.parent).as_posix() for kind, goal in goals.items()}


def _instrument(bench: Bench, name: str) -> dict[str, Any]:
    supply = bench.supplies[name]
    return {
        "name": name,
        "kind": "supply",
        "address": supply.address,
        "dialect": supply.dialect.name,
        "model": supply.model,
        "serial": supply.serial,
        "calibration": calibration_data(supply.calibrated),
        "identification": None,
    }


def _multimeter(bench: Bench, name: str) -> dict[str, Any]:
    meter = bench.multimeters[name]
    return {
        "name": name,
        "kind": "multimeter",
        "quantity": meter.quantity,
        "address": meter.address,
        "model": meter.model,
        "serial": meter.serial,
        "calibration": calibration_data(meter.calibrated),
        "identification": None,
    }


def _relays(bench: Bench, name: str) -> dict[str, Any]:
    box = bench.relays[name]
    return {
        "name": name,
        "kind": "relays",
        "address": box.address,
        "model": box.model,
        "serial": box.serial,
        "calibration": None,
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
