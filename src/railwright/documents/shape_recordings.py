"""Recordings that shapes play: found beside the procedure, read, reduced to lines, and kept with it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from railwright.documents.files import DocumentSource, found_beside
from railwright.documents.nodes import Unreadable
from railwright.documents.procedure import Procedure
from railwright.documents.recording_keys import RecordingParts
from railwright.documents.shape import InputWaveform
from railwright.documents.sources import Location, Problem
from railwright.quantities import show
from railwright.waveforms.shapes import MOST_MOVES, count_of

if TYPE_CHECKING:
    from railwright.recordings.errors import RecordingError
    from railwright.recordings.file import RecordedFile
    from railwright.recordings.recording import OpenRecording
    from railwright.recordings.samples import Channel
    from railwright.waveforms.shapes import Piece
    from railwright.waveforms.waveform import Waveform as Wave


def read_recordings(procedure: Procedure, source: DocumentSource) -> Iterator[Problem]:
    """Give every shape its recording; what is wrong with one is a problem of its file, or of the place here.

    Each file is noted in `source.beside`, so that a copy of the document can be made complete.
    """
    for place, shape, _, waveform in procedure.waveforms:
        if waveform.recording is not None:
            path = (*place, "recording")
            yield from _read(waveform, waveform.recording, source, source.where(path), shape.repeat)


def problems_of(error: RecordingError) -> Iterator[Problem]:
    """What is wrong with a recording as problems of its file."""
    for each in (error, *error.more):
        yield Problem(Location(str(each.path), each.line, each.column), each.told)


def _read(
    waveform: InputWaveform, name: str, source: DocumentSource, place: Location, repeat: int
) -> Iterator[Problem]:
    """Give a waveform the recording of that name."""
    from railwright.recordings.errors import RecordingError

    try:
        file = found_beside(source, name, "recording", place)
        pieces, recognised, source.beside[name] = recording_pieces(file, waveform)
    except Unreadable as error:
        yield error.problem
    except RecordingError as error:
        yield from problems_of(error)
    else:
        if count_of(pieces) * repeat > MOST_MOVES:
            lines = f"{count_of(pieces) * repeat:,.0f}"
            message = f"expected at most {MOST_MOVES:,} lines of a recording, got {lines}; repeat it less"
            yield Problem(place, message)
        else:
            waveform.hold_recording(pieces, recognised)


def recording_pieces(
    path: Path, keys: RecordingParts
) -> tuple[tuple[Piece, ...], tuple[str, ...], RecordedFile]:
    """A recorded voltage as pieces of a shape, what was recognised with how far its lines are off, and the
    file as it was read.

    RecordingError for anything that cannot be used.
    """
    from railwright.recordings.errors import RecordingError
    from railwright.waveforms.recordings import as_pieces, few_lines

    wave, recognised, file = recorded_waveform(path, keys)
    try:
        fit = few_lines(wave)
    except ValueError as error:
        raise RecordingError(path, 1, f"expected a recording with fewer jumps: {error}") from None
    told = f"{wave.time.size} samples as {fit.points} lines, off by {show(fit.error, 'V')} at most"
    if fit.jumps:
        told += f" apart from {fit.jumps} jumps" if fit.jumps > 1 else " apart from a jump"
    if fit.noise:
        told += f", {show(fit.rms, 'V')} r.m.s.; noise of {show(fit.noise, 'V')} r.m.s. is not played"
    return as_pieces(fit.wave), (*recognised, told), file


def recorded_waveform(path: Path, keys: RecordingParts) -> tuple[Wave, tuple[str, ...], RecordedFile]:
    """The waveform that a file holds, its time from 0 on, what was recognised or taken for granted in it, and
    the file as it was read.

    keys: what a document says of it. RecordingError, one line with file and line, for anything that cannot
    be used.
    """
    from railwright.recordings.opening import open_recording
    from railwright.waveforms.recordings import NoRecording, from_samples

    with open_recording(path, time=keys.time, interval=keys.interval) as recording:
        channel, told = _channel(recording, keys)
        samples = recording.read([channel], keys.begin, keys.end)
        since = samples.time - samples.zero
        try:
            wave, notes = from_samples(since, samples.values[0], keys.begin, keys.end)
        except NoRecording as error:
            raise recording.refuse_row(samples.row + error.row, error.told) from None
        if samples.zero != 0.0:
            notes = (f"its first time, {samples.zero:.9g} s, is taken as 0", *notes)
        return wave, (*recording.recognised, *told, *channel.recognised, *notes), recording.file


def _channel(recording: OpenRecording, keys: RecordingParts) -> tuple[Channel, tuple[str, ...]]:
    """The column that is played, and how it was found where no key says it."""
    from railwright.recordings.columns import known_unit, names_of

    if keys.column is not None:
        return recording.channel(recording.place(keys.column), "V", keys.unit, keys.full_scale), ()
    others = recording.channels
    of_unit = [(n, column) for n, column in others if known_unit(column.unit, "V") is not None]
    found = of_unit or others
    if len(found) != 1:
        names = names_of([column for _, column in found]) or "none"
        raise recording.refuse(f"expected one column that can be played, got {names}; name one in 'column'")
    ((place, column),) = found
    channel = recording.channel(place, "V", keys.unit, keys.full_scale)
    return channel, (f"values in column '{column.name}'",)
