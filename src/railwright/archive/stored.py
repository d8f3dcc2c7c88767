"""A run on disk as evaluate and report need it: documents, settings, record, recordings, evaluations.

Evaluations lie in `evaluations/01.json`, `02.json`, ...; each names the recordings it used, copied to
`recordings/`. The manifest is brought up to date for what was added, never for what was there before.
"""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from railwright.archive.ending import ending_of
from railwright.documents.loader import Documents, load_documents
from railwright.documents.recording_keys import evaluated_keys
from railwright.evaluation.alignment import moved
from railwright.evaluation.data import as_data, evaluation_from_data
from railwright.evaluation.ending import Ending
from railwright.evaluation.evaluate import evaluate, offset_of
from railwright.evaluation.outcome import Evaluation
from railwright.recordings.of_inputs import record_of
from railwright.recordings.opening import open_recording
from railwright.recordings.recording import MOST_SHOWN, OpenRecording
from railwright.records.manifest import write_json, write_manifest
from railwright.records.names import (
    EVALUATIONS,
    RECORDINGS,
    SETTINGS,
    evaluation_files,
    evaluation_name,
    recording_name,
)
from railwright.records.stored import NoRun, RunData, open_run
from railwright.regular import text_of
from railwright.settings.data import settings_from_data
from railwright.settings.hookup import as_run
from railwright.settings.settle import Settings
from railwright.settings.windows.auto_rise import as_risen, auto_steps, rates_told
from railwright.traces import Record
from railwright.version import SOFTWARE


@dataclass(frozen=True)
class ExternalRecording:
    """An external recording: its file, the recorder of the bench that made it, and what its header leaves
    open, as in a document.
    """

    path: Path
    recorder: str
    keys: str = ""


@dataclass(frozen=True, eq=False)
class StoredRun:
    """A run with everything that belongs to it."""

    data: RunData
    documents: Documents
    settings: Settings

    @property
    def folder(self) -> Path:
        return self.data.folder

    @property
    def ending(self) -> Ending:
        """How the run ended."""
        return ending_of(self.data)

    @property
    def differences(self) -> tuple[str, ...]:
        """What of the folder is not as the run left it."""
        return tuple(f"run folder: {line}" for line in (*self.data.differences.lines(), *self.data.recovered))

    @property
    def remarks(self) -> tuple[str, ...]:
        """What of the folder is not as the run left it, and how the run ended where it did not end well."""
        ending = self.ending
        early = (f"the run ended early: {ending.cause}",) if ending.early else ()
        off = tuple(f"off not confirmed: {line}" for line in ending.not_confirmed)
        return (*self.differences, *early, *off)


def open_stored(folder: Path) -> StoredRun:
    """Read a run. NoRun or DocumentErrors where it cannot be read."""
    data = open_run(folder)
    if data.procedure is None:
        raise NoRun(f"{folder}: expected a run with its documents, got one of documents made in code")
    documents = load_documents(data.procedure)
    try:
        settings = settings_from_data(data.settings)
    except (KeyError, TypeError, ValueError) as error:
        raise NoRun(f"{folder / SETTINGS}: expected the settings of a run, got {error!r}") from None
    try:
        documents = as_run(documents, settings.set_points)
    except KeyError as error:
        what = f"what input {error} was fed from, which the procedure left to be worked out, got nothing"
        raise NoRun(f"{folder / SETTINGS}: expected {what}") from None
    if auto_steps(documents):
        try:
            rises = rates_told(documents, settings.reasons) if settings.rises is None else settings.rises
            documents = as_risen(documents, rises)
        except KeyError:
            what = "the rise of every power-up that the procedure left to be worked out, got another number"
            raise NoRun(f"{folder / SETTINGS}: expected {what}") from None
    return StoredRun(data, documents, settings)


def evaluate_run(stored: StoredRun, recordings: Sequence[ExternalRecording]) -> Evaluation:
    """Evaluate and keep the result, with copies of the recordings."""
    read = [_read(stored, recording) for recording in recordings]
    records = [record for record, _ in read]
    evaluation = evaluate(
        stored.documents, stored.settings.set_points, stored.data.record, records, stored.ending
    )
    number = len(evaluation_files(stored.folder)) + 1
    added: list[str] = []
    used = []
    for recording, (_, found) in zip(recordings, read, strict=True):
        called = re.sub(r"[^A-Za-z0-9]+", "-", recording.recorder)
        name, copies = recording_name(number, called, found.ending), 1
        while name in added:  # one recorder may have made several
            copies += 1
            name = recording_name(number, f"{called}-{copies}", found.ending)
        (stored.folder / RECORDINGS).mkdir(exist_ok=True)
        found.file.copy_to(stored.folder / name)
        used.append({"recorder": recording.recorder, "file": name, "keys": recording.keys})
        added.append(name)
    name = evaluation_name(number)
    (stored.folder / EVALUATIONS).mkdir(exist_ok=True)
    write_json(
        stored.folder / name,
        {
            "evaluated": dt.datetime.now().astimezone().isoformat(),
            "software": SOFTWARE,
            "recordings": used,
            **as_data(evaluation),
        },
    )
    add_to_manifest(stored, [*added, name])
    return evaluation


def evaluations_of(stored: StoredRun) -> tuple[tuple[Evaluation, ...], tuple[Record, ...]]:
    """Every evaluation so far, and the recordings that they used, each on the run's time base, as far as they
    are looked at: every extreme of a long one.

    Whether a pass is withheld depends on how the run ended, not on which version evaluated it.
    """
    evaluations, records = [], []
    withheld = stored.ending.withheld
    for path in evaluation_files(stored.folder):
        data = _json(path)
        try:
            evaluation = replace(evaluation_from_data(data), withheld=withheld)
            # An evaluation of an earlier version has neither keys nor offsets.
            used = [
                ExternalRecording(stored.folder / r["file"], r["recorder"], str(r.get("keys", "")))
                for r in data["recordings"]
            ]
        except (KeyError, TypeError, ValueError) as error:
            raise NoRun(f"{path}: expected an evaluation, got {error!r}") from None
        evaluations.append(evaluation)
        offsets = evaluation.offsets or tuple(_offset(stored, recording) for recording in used)
        for recording, offset in zip(used, offsets, strict=False):
            records.append(moved(_read(stored, recording, shown=MOST_SHOWN)[0], offset))
    return tuple(evaluations), tuple(records)


def _offset(stored: StoredRun, recording: ExternalRecording) -> float:
    record, _ = _read(stored, recording)
    return offset_of(stored.documents, stored.settings.set_points, stored.data.record, record)


def add_to_manifest(stored: StoredRun, names: Sequence[str]) -> None:
    """Hash files that were added; a run that was never finished has no manifest to add to."""
    if not stored.data.differences.manifest:
        write_manifest(stored.folder, names)


def _json(path: Path) -> dict[str, Any]:
    try:
        data = json.loads(text_of(path))
    except (ValueError, RecursionError) as error:
        raise NoRun(f"{path}: expected JSON, got {error}") from None
    if not isinstance(data, dict):
        raise NoRun(f"{path}: expected an evaluation, got JSON of another form")
    return data


def _read(
    stored: StoredRun, recording: ExternalRecording, shown: int | None = None
) -> tuple[Record, OpenRecording]:
    """The recording as a record of the run's inputs, and what it was read from, closed.

    shown: so many samples are enough.
    """
    keys = evaluated_keys(recording.keys, f"--keys of {recording.path.name}")
    inputs = tuple(stored.data.record.traces)
    with open_recording(recording.path, time=keys.time, interval=keys.interval, guess=False) as opened:
        record = record_of(
            opened, recording.recorder, inputs, keys.given(), keys.begin, keys.end, shown=shown
        )
        return record, opened
