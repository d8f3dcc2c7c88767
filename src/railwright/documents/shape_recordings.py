"""Recordings that shapes play: found beside the procedure, read, reduced to lines, and kept with it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from railwright.documents.files import Source
from railwright.documents.procedure import Procedure
from railwright.documents.shape import Waveform
from railwright.documents.sources import Location, Problem
from railwright.quantities import quoted
from railwright.waveforms.shapes import MOST_MOVES, count_of


def read_recordings(procedure: Procedure, source: Source) -> Iterator[Problem]:
    """Give every shape its recording; what is wrong with one is a problem of its file, or of the place here.

    The bytes of each file are kept in `source.beside`, so that a copy of the document can be made complete.
    """
    for number, step in enumerate(procedure.steps):
        if step.shape is None:
            continue
        for name, waveform in step.shape.waveforms.items():
            if waveform.recording is None:
                continue
            inside = ("inputs", name) if step.shape.inputs is not None else ()
            path = ("steps", number, "shape", *inside, "recording")
            yield from _read(waveform, source, path, step.shape.repeat)


def _read(waveform: Waveform, source: Source, path: tuple[str | int, ...], repeat: int) -> Iterator[Problem]:
    name = waveform.recording or ""
    if os.path.isabs(name):
        message = f"expected a path relative to this document, got {quoted(name)}; put the file beside it"
        yield Problem(source.where(path), message)
        return
    from railwright.documents.csv_values import RecordingError
    from railwright.documents.recording_keys import RecordingKeys, RecordingParts
    from railwright.documents.recordings import recording_pieces

    file = Path(os.path.join(os.path.dirname(source.file), name))
    given = {key: getattr(waveform, key) for key in RecordingParts.model_fields}
    try:
        pieces, recognised = recording_pieces(file, RecordingKeys.model_construct(recording=name, **given))
        source.beside[name] = file.read_bytes()
    except RecordingError as error:
        yield Problem(Location(str(error.path), error.line, error.column), error.told)
        return
    if count_of(pieces) * repeat > MOST_MOVES:
        lines = f"{count_of(pieces) * repeat:,.0f}"
        message = f"expected at most {MOST_MOVES:,} lines of a recording, got {lines}; repeat it less"
        yield Problem(source.where(path), message)
        return
    waveform.hold_recording(pieces, recognised)
