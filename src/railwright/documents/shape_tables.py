"""Sequences that stand in tables: found beside the procedure, read, and kept with it."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping

from railwright.documents.files import DocumentSource, beside, content, decoded
from railwright.documents.nodes import Unreadable
from railwright.documents.procedure import Procedure
from railwright.documents.sources import Location, Problem
from railwright.quantities import quoted
from railwright.waveforms.shapes import MOST_MOVES, count_of


def read_tables(procedure: Procedure, source: DocumentSource, held: Mapping[str, bytes]) -> Iterator[Problem]:
    """Give every shape its table; what is wrong with one is a problem of its file, or of the place here.

    Each file is noted in `source.beside`, so that a copy of the document can be made complete. held: content
    of files that are not read again.
    """
    for number, step in enumerate(procedure.steps):
        if step.shape is None:
            continue
        for name, waveform in step.shape.waveforms.items():
            if waveform.table is None:
                continue
            from railwright.waveforms.table import TableError, pieces_of_table, read_table  # few have one

            place = source.where(("steps", number, "shape", *step.shape.at(name), "table"))
            if os.path.isabs(waveform.table):
                told = f"expected a path relative to this document, got {quoted(waveform.table)}; "
                yield Problem(place, f"{told}put the file beside it")
                continue
            file = beside(source.file, waveform.table)
            try:
                raw = held[file] if file in held else content(file, "table", place)
                pieces = pieces_of_table(read_table(decoded(raw, file)))
            except Unreadable as error:
                yield error.problem
                continue
            except TableError as error:
                yield Problem(Location(file, error.line, error.column), str(error))
                continue
            source.beside[waveform.table] = raw
            if count_of(pieces) * step.shape.counted > MOST_MOVES:
                changes = f"{count_of(pieces) * step.shape.counted:,.0f}"
                told = (
                    f"expected at most {MOST_MOVES:,} changes of the set point, got {changes}; repeat it less"
                )
                yield Problem(place, told)
                continue
            waveform.hold_recording(pieces, ())
