"""Dialects that do not come with the package: found for a bench document, read, and kept with it."""

from __future__ import annotations

import os
from pathlib import Path

from railwright.dialects.dialect import Dialect, DialectError, load_dialect
from railwright.dialects.files import BESIDE, dialect_names, find_dialect, is_path
from railwright.documents.dialect_files import read_dialect
from railwright.documents.files import DocumentSource, beside
from railwright.documents.sources import Location, Problem
from railwright.quantities import quoted

OwnDialects = dict[str, Dialect]
"""What a bench document calls its dialects -> those that do not come with the package."""


def read_own_dialects(bench: DocumentSource) -> tuple[OwnDialects, list[Problem]]:
    """The dialects that a bench document names beside the package's, and what is wrong with their files.

    Each file is noted in `bench.beside`, so that a copy of the document can be made complete.
    """
    found: OwnDialects = {}
    problems: list[Problem] = []
    supplies = bench.root.get("supplies")
    for name in supplies.entries if supplies is not None else ():
        node = bench.root.get("supplies", name, "dialect")
        written = (node.text or "").strip() if node is not None and node.kind == "scalar" else ""
        if not written or written in found or written in dialect_names():
            continue
        try:
            made = _read(bench, ("supplies", name, "dialect"), written)
        except _Wrong as wrong:
            problems += wrong.problems
            # Stands in for it, so that it is not said again; the documents are refused in any case.
            found[written] = load_dialect(dialect_names()[0])
        else:
            found |= {} if made is None else {written: made}
    return found, problems


class _Wrong(Exception):
    def __init__(self, problems: list[Problem]) -> None:
        super().__init__()
        self.problems = problems


def _read(bench: DocumentSource, place: tuple[str, ...], written: str) -> Dialect | None:
    """The dialect of a path or a name; None where a name is no dialect's, which the model says."""
    where = bench.where(place)
    if os.path.isabs(written):
        message = f"expected a path relative to this document, got {quoted(written)}; put the file beside it"
        raise _Wrong([Problem(where, message)])
    try:
        file = find_dialect(written, Path(bench.file).parent)
    except OSError as error:
        told = (error.strerror or "cannot be read").casefold()
        message = f"expected the file of dialect {quoted(written)}, got an error: {told}"
        raise _Wrong([Problem(where, message)]) from None
    if file is None:
        if not is_path(written):
            return None
        message = f"expected a dialect in {quoted(beside(bench.file, written))}, got no such file"
        raise _Wrong([Problem(where, f"{message}; correct the path")])
    shown = beside(bench.file, written) if is_path(written) else str(file.path)
    try:
        dialect = read_dialect(file.content.decode("utf-8"), shown)
    except UnicodeDecodeError:
        raise _Wrong([Problem(Location(shown, 1, 1), "expected UTF-8 text; save the file so")]) from None
    except DialectError as error:
        raise _Wrong([Problem(Location(f.file, f.line, f.column), f.what) for f in error.faults]) from None
    if not is_path(written) and dialect.name != written:
        message = f"expected 'dialect: {written}', as the file is called, got 'dialect: {dialect.name}'"
        raise _Wrong([Problem(Location(shown, 1, 1), message)])
    bench.beside[written if is_path(written) else f"{written}{BESIDE}"] = file.content
    return dialect
