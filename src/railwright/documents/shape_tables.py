"""Sequences that stand in tables: found beside the procedure, read, and kept with it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from railwright.documents.files import DocumentSource, content, decoded, named_beside
from railwright.documents.nodes import Unreadable
from railwright.documents.procedure import Procedure
from railwright.documents.sources import Location, Problem
from railwright.waveforms.shapes import MOST_MOVES, count_of


def read_tables(procedure: Procedure, source: DocumentSource, held: Mapping[str, bytes]) -> Iterator[Problem]:
    """Give every shape its table; what is wrong with one is a problem of its file, or of the place here.

    Each file is noted in `source.beside`, so that a copy of the document can be made complete. held: content
    of files that are not read again.
    """
    for path, shape, _, waveform in procedure.waveforms:
        if waveform.table is None:
            continue
        from railwright.waveforms.table import TableError, pieces_of_table, read_table  # few have one

        place = source.where((*path, "table"))
        try:
            file = named_beside(source, waveform.table, place)
            raw = held[file] if file in held else content(file, "table", place)
            pieces = pieces_of_table(read_table(decoded(raw, file)))
        except Unreadable as error:
            yield error.problem
            continue
        except TableError as error:
            yield Problem(Location(file, error.line, error.column), str(error))
            continue
        source.beside[waveform.table] = raw
        changes = count_of(pieces) * shape.counted
        if changes > MOST_MOVES:
            told = f"expected at most {MOST_MOVES:,} changes of the set point, got {changes:,.0f}"
            yield Problem(place, f"{told}; repeat it less")
            continue
        waveform.hold_recording(pieces, ())
