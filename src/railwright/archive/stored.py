"""A run on disk as evaluate and report need it: documents, settings, record, recordings, evaluations.

Evaluations lie in `evaluations/01.json`, `02.json`, ...; each names the recordings it used, copied to
`recordings/`. The manifest is brought up to date for what was added, never for what was there before.
"""

from __future__ import annotations

import datetime as dt
import os
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any, NamedTuple

from railwright.archive.ending import ending_of
from railwright.documents.evaluated_keys import evaluated_keys
from railwright.documents.files import DocumentSource, bytes_of
from railwright.documents.loader import Documents, load_documents
from railwright.evaluation.alignment import AlignmentError, moved
from railwright.evaluation.data import as_data, evaluation_from_data
from railwright.evaluation.ending import Ending
from railwright.evaluation.evaluate import evaluate, offset_of
from railwright.evaluation.outcome import Evaluation
from railwright.evaluation.reading_bias import widenings
from railwright.quantities import Uncertain
from railwright.recordings.of_inputs import record_of
from railwright.recordings.opening import open_recording
from railwright.recordings.recording import MOST_SHOWN, OpenRecording
from railwright.records.codec import TEXT, Codec, Key, Misfit, fields, many
from railwright.records.manifest import (
    Differences,
    as_json,
    changing,
    hash_bytes,
    hash_file,
    verify_manifest,
    write_manifest,
    write_together,
)
from railwright.records.names import (
    EVALUATIONS,
    SETTINGS,
    evaluation_files,
    evaluation_name,
    number_of,
    recording_name,
)
from railwright.records.stored import NoRun, RunData, open_run, reading
from railwright.regular import json_of
from railwright.settings.data import settings_from_data
from railwright.settings.hookup import as_run
from railwright.settings.settle import Settings
from railwright.settings.windows.auto_rise import as_risen, rates_told
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


def _inside(data: Any) -> Path:
    """A path that leads out of no folder."""
    path = Path(TEXT.read(data))
    if path.is_absolute() or ".." in path.parts:
        raise Misfit(f"expected a file in the folder of the run, got {data!r:.60}")
    return path


_USED = fields(
    dict,
    recordings=many(
        fields(
            ExternalRecording,
            file=Key(Codec(str, _inside), field="path"),
            recorder=TEXT,
            # An evaluation of an earlier version has none.
            keys=Key(TEXT, missing=""),
        )
    ),
)
"""Which recordings an evaluation used; their paths relative to the run's folder."""


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
        lines = (*self.data.differences.lines(), *self._outside, *self.data.recovered)
        return tuple(f"run folder: {line}" for line in lines)

    @property
    def doubts(self) -> tuple[str, ...]:
        """What an evaluation is made from and is not as the run left it, when it was read or now, one line
        each.
        """
        now = replace(verify_manifest(self.folder), record=self.data.differences.record)
        found = (*self.data.doubts, *replace(self.data, differences=now).doubts, *self._outside)
        return tuple(dict.fromkeys(found))

    @cached_property
    def _outside(self) -> tuple[str, ...]:
        """Documents that were read from outside the folder, by an absolute path in one of them, and are not
        as the run had them.
        """
        return tuple(
            f"{placed}: the run had this; {source.path}, read in its place, was changed since"
            for kind, placed in (self.data.about.get("documents") or {}).items()
            if (source := self.documents.sources.get(kind)) is not None
            and not source.path.resolve().is_relative_to(self.folder.resolve())
            and not _same(source, self.folder / placed)
        )

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
    with reading(folder / SETTINGS):
        settings = settings_from_data(data.settings)
    try:
        documents = as_run(documents, settings.set_points)
    except KeyError as error:
        what = f"what input {error} was fed from, which the procedure left to be worked out, got nothing"
        raise NoRun(f"{folder / SETTINGS}: expected {what}") from None
    if documents.procedure.auto_rises:
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
    widened, notes = widenings(stored.documents, stored.settings.set_points, stored.data.record)
    records = [each.record for each in read]
    with _naming({record: each.path for record, each in zip(records, recordings, strict=True)}):
        judged = evaluate(
            stored.documents,
            stored.settings.set_points,
            stored.data.record,
            records,
            stored.ending,
            stored.data.multimeters,
            [each.offset for each in read],
            widened,
        )
    judged = replace(judged, notes=(*judged.notes, *notes))
    evaluation = _withholding(stored, judged, stored.doubts)
    used = [(recording, each.opened) for recording, each in zip(recordings, read, strict=True)]
    with changing(stored.folder) as listed:
        added = _write_new(stored.folder, evaluation, used)
        try:
            if not stored.data.differences.manifest:
                listed(added)
        except BaseException:
            # Without its place in the manifest it would be one that somebody put there.
            for name in added:
                with suppress(OSError):
                    (stored.folder / name).unlink(missing_ok=True)
            raise
    return evaluation


def _write_new(
    folder: Path, evaluation: Evaluation, recordings: Sequence[tuple[ExternalRecording, OpenRecording]]
) -> list[str]:
    """Write an evaluation and copies of its recordings under the next number that none of them has, also
    where others evaluate at the same time; their names.
    """
    # By the number of the last: an earlier one may have been taken away.
    number = max(map(number_of, evaluation_files(folder)), default=0)
    while True:
        number += 1
        files: dict[str, Iterable[bytes]] = {}
        used = []
        for recording, found in recordings:
            called = re.sub(r"[^A-Za-z0-9]+", "-", recording.recorder)
            name, copies = recording_name(number, called, found.ending), 1
            while name in files:  # one recorder may have made several
                copies += 1
                name = recording_name(number, f"{called}-{copies}", found.ending)
            files[name] = bytes_of(found.file)
            used.append({"recorder": recording.recorder, "file": name, "keys": recording.keys})
        about = {
            "evaluated": dt.datetime.now().astimezone().isoformat(),
            "software": SOFTWARE,
            "recordings": used,
            **as_data(evaluation),
        }
        files[evaluation_name(number)] = [as_json(about).encode()]
        try:
            write_together({folder / name: pieces for name, pieces in files.items()}, new=True, folders=True)
        except FileExistsError:
            if not any(os.path.lexists(folder / name) for name in files):
                raise
        else:
            return list(files)


def evaluations_of(stored: StoredRun) -> tuple[tuple[Evaluation, ...], tuple[Record, ...]]:
    """Every evaluation so far, and the recordings that they used, each on the run's time base, as far as they
    are looked at: every extreme of a long one.

    Whether a pass is withheld depends on how the run ended, not on which version evaluated it; and on what of
    its folder was changed, when it was evaluated or since.
    """
    evaluations, records, doubts_now = [], [], stored.doubts
    for path in evaluation_files(stored.folder):
        data = _json(path)
        with reading(path):
            evaluation = evaluation_from_data(data)
            used = [replace(each, path=stored.folder / each.path) for each in _USED.read(data)["recordings"]]
        doubts = (*evaluation.unsound, *doubts_now, *_doubts_of(stored, path, used))
        evaluations.append(_withholding(stored, evaluation, doubts))
        offsets = evaluation.offsets or tuple(_offset(stored, recording) for recording in used)
        for recording, offset in zip(used, offsets, strict=False):
            records.append(moved(_read(stored, recording, shown=MOST_SHOWN).record, offset))
    return tuple(evaluations), tuple(records)


def _same(source: DocumentSource, copy: Path) -> bool:
    """Whether a document, and what it names beside it, is as in its copy."""
    held = {copy: source.content, **{copy.parent / name: each for name, each in source.beside.items()}}
    return all(
        path.is_file() and hash_file(path) == hash_bytes(bytes_of(each)) for path, each in held.items()
    )


def _withholding(stored: StoredRun, evaluation: Evaluation, doubts: Sequence[str]) -> Evaluation:
    """An evaluation that is no pass where the run's ending or these doubts about its folder forbid one."""
    unsound = tuple(dict.fromkeys(doubts))
    folder = f"the run's folder is not whole and unchanged ({'; '.join(unsound)})" if unsound else ""
    withheld = "; ".join(filter(None, (stored.ending.withheld, folder)))
    return replace(evaluation, withheld=withheld, unsound=unsound)


def _doubts_of(stored: StoredRun, path: Path, used: Sequence[ExternalRecording]) -> tuple[str, ...]:
    """What of a stored evaluation, and of the recordings that it used, is not as the manifest says: changed,
    put there, or followed by one that is missing.
    """
    files = {each.relative_to(stored.folder).as_posix() for each in (path, *(one.path for one in used))}
    known = stored.data.differences
    if known.manifest:
        return ()  # nothing can be compared, and that is told already
    later = tuple(
        name
        for name in known.missing
        if name.startswith(f"{EVALUATIONS}/") and number_of(Path(name)) > number_of(path)
    )
    found = known.of(files.__contains__)
    return Differences(found.changed, (*found.missing, *later), unlisted=found.added).lines()


def _offset(stored: StoredRun, recording: ExternalRecording) -> float:
    record = _read(stored, recording).record
    with _naming({record: recording.path}):
        return offset_of(stored.documents, stored.settings.set_points, stored.data.record, record)


@contextmanager
def _naming(paths: Mapping[Record, Path]) -> Iterator[None]:
    """Say of a recording that does not match the run which file it is."""
    try:
        yield
    except AlignmentError as error:
        path = paths.get(error.recording) if error.recording is not None else None
        raise AlignmentError(f"{path}: {error}" if path else str(error)) from None


def add_to_manifest(stored: StoredRun, names: Sequence[str]) -> None:
    """Hash files that were added; a run that was never finished has no manifest to add to."""
    if not stored.data.differences.manifest:
        write_manifest(stored.folder, names)


def _json(path: Path) -> dict[str, Any]:
    try:
        data = json_of(path)
    except (ValueError, RecursionError) as error:
        raise NoRun(f"{path}: expected JSON, got {error}") from None
    if not isinstance(data, dict):
        raise NoRun(f"{path}: expected an evaluation, got JSON of another form")
    return data


class _Read(NamedTuple):
    """A recording as a record of the run's inputs, what it was read from, closed, and where its time 0 lies,
    as it is given [s of the run].
    """

    record: Record
    opened: OpenRecording
    offset: Uncertain | None


def _read(stored: StoredRun, recording: ExternalRecording, shown: int | None = None) -> _Read:
    """Read a recording.

    shown: so many samples are enough.
    """
    keys = evaluated_keys(recording.keys, f"--keys of {recording.path.name}")
    inputs = tuple(stored.data.record.traces)
    with open_recording(recording.path, time=keys.time, interval=keys.interval, guess=False) as opened:
        record = record_of(
            opened, recording.recorder, inputs, keys.given(), keys.begin, keys.end, shown=shown
        )
        return _Read(record, opened, keys.offset)
