"""Files that the loads of a device document name: found beside the document, read, and kept with it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path as FilePath
from typing import TYPE_CHECKING

from railwright.documents.files import DocumentSource, found_beside
from railwright.documents.nodes import Node, Unreadable
from railwright.documents.references import items
from railwright.documents.shape_recordings import problems_of
from railwright.documents.sources import Problem
from railwright.physics.loads import LOAD_MODELS
from railwright.physics.loads.law import FileColumns

if TYPE_CHECKING:
    from railwright.recordings.file import RecordedFile
    from railwright.recordings.recording import OpenRecording
    from railwright.recordings.samples import Channel

MOST_ROWS = 200_000
"""Rows that a file of a load may have: a solver stops at each."""

Wanted = Sequence[Mapping[str, str]]
"""For each column the names that it may have, with the SI unit of each; the first is the time."""

Path = tuple[str | int, ...]
Held = dict[tuple[str, str], FileColumns]
"""What files hold, by what LoadParameters asks for: name of the file, and the columns that are wanted."""


def read_load_files(device: DocumentSource) -> tuple[Held, list[Problem]]:
    """What the files hold that a device document names, and what is wrong with them.

    Each file is noted in `device.beside`, so that a copy of the document can be made complete.
    """
    held: Held = {}
    problems: list[Problem] = []
    seen: set[tuple[str, str]] = set()
    for path, node, wanted in _named(device):
        name = node.text or ""
        if not name.strip() or (name, str(wanted)) in seen:
            continue
        seen.add((name, str(wanted)))
        problems += _read(device, path, name, wanted, held)
    return held, problems


def _read(device: DocumentSource, path: Path, name: str, wanted: Wanted, held: Held) -> Iterator[Problem]:
    """Keep what a file holds in `held`, or tell what is wrong with it."""
    from railwright.recordings.errors import RecordingError

    try:
        file = found_beside(device, name, "CSV, Parquet or HDF5 file", device.where(path))
        held[name, str(wanted)], device.beside[name] = read_columns(file, wanted)
    except Unreadable as error:
        yield error.problem
    except RecordingError as error:
        yield from problems_of(error)


def read_columns(file: FilePath, wanted: Wanted) -> tuple[FileColumns, RecordedFile]:
    """Columns of a file in SI units, and the file as it was read. RecordingError where it cannot be used.

    The file names each wanted column, with its unit, or without for the SI unit; others are left alone.
    """
    from railwright.recordings.opening import open_recording

    time = next(iter(wanted[0]))
    with open_recording(file, guess=False, keys=False) as recording:
        found = [_find(recording, names) for names in wanted[1:]]
        samples = recording.read([channel for _, channel in found], most=MOST_ROWS)
        if samples.time[-1] <= samples.time[0]:
            raise recording.refuse_row(
                0, f"expected samples at two times at least, got {samples.time.size} at one"
            )
        rows = zip(samples.time.tolist(), *(values.tolist() for values in samples.values), strict=True)
        return FileColumns((time, *(name for name, _ in found)), tuple(rows)), recording.file


def _find(recording: OpenRecording, names: Mapping[str, str]) -> tuple[str, Channel]:
    """The one column that has one of these names, as a channel in the name's unit."""
    from railwright.recordings.columns import names_of

    found = [(n, column) for n, column in recording.channels if column.name in names]
    if len(found) != 1:
        either = " or ".join(f"'{name}_{unit}'" for name, unit in names.items())
        got = " and ".join(f"'{column.header}'" for _, column in found) or names_of(recording.columns)
        raise recording.refuse(f"expected one column {either} in the header, got {got}")
    ((place, column),) = found
    return column.name, recording.channel(place, names[column.name])


def _named(device: DocumentSource) -> Iterator[tuple[Path, Node, Wanted]]:
    """Each field of a load that names a file, with the columns that are wanted of it."""
    inputs = device.root.get("inputs")
    for name, entry in (inputs.entries if inputs is not None else {}).items():
        for number, part in enumerate(items(entry.value.get("load"))):
            for kind, parameters in part.entries.items():
                model = LOAD_MODELS.get(kind)
                for field, wanted in (model.in_file if model else {}).items():
                    node = parameters.value.get(field)
                    if node is not None and node.kind == "scalar":
                        yield ("inputs", name, "load", number, kind, field), node, wanted
