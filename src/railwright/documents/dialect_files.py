"""A dialect's file read as a document is: what is wrong with it is said at its line and column."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from railwright.dialects.dialect import Dialect, DialectError, DialectFault, dialect_of, plain_of
from railwright.documents.files import DocumentSource
from railwright.documents.nodes import Unreadable, compose
from railwright.documents.sources import Problem
from railwright.documents.translate import problems_of


class _AsDocument(Dialect):
    """A dialect whose keys are looked at: of one in a bench document they are not."""


_OTHER_KINDS = frozenset(("string_type", "model_type", "dict_type", "tuple_type", "float_type", "int_type"))
"""What is said of each kind that a value is not, where it may be of several."""


def read_dialect(text: str, file: str) -> Dialect:
    """A dialect from its text; `file` is what errors call it. DialectError with everything that is wrong."""
    try:
        # First, as it bounds what the text may grow to.
        root, problems = compose(text, file)
    except Unreadable as error:
        raise _wrong([error.problem]) from None
    if root is None or root.kind != "mapping":
        empty = root is None or (root.kind == "scalar" and root.text is None)
        got = "an empty file; fill it in" if empty else "a list" if root and root.kind == "list" else "a text"
        place = (1, 1) if root is None else (root.line, root.column)
        told = f"expected a dialect (keys with values), got {got}"
        raise DialectError([DialectFault(file, *place, told)])
    if problems:
        raise _wrong(problems)
    try:
        return dialect_of(text)
    except ValidationError:
        source = DocumentSource(file, Path(file), text.encode(), root)
        try:
            _AsDocument.model_validate(plain_of(text), by_alias=True, by_name=False)
        except ValidationError as error:
            raise _wrong(problems_of(_AsDocument, source, _chosen(error.errors(include_url=False)))) from None
        raise


def _wrong(problems: Sequence[Problem]) -> DialectError:
    once = dict.fromkeys(problems)
    return DialectError([DialectFault(*each.location, each.message) for each in once])


def _chosen(errors: Sequence[ErrorDetails]) -> list[ErrorDetails]:
    """Of what is said of one value, where it may be of several kinds, what fits the kind that it has, else
    the first alone.
    """
    bare: list[ErrorDetails] = [{**each, "loc": tuple(filter(_is_key, each["loc"]))} for each in errors]
    said = [each["loc"] for each in bare if each["type"] not in _OTHER_KINDS]
    found = dict[Any, ErrorDetails]()
    for each in bare:
        loc = each["loc"]
        if each["type"] not in _OTHER_KINDS:
            found[loc, each["type"]] = each
        elif not any(other[: len(loc)] == loc for other in said):
            found.setdefault((loc, "kind"), each)
    return [*found.values()]


def _is_key(part: str | int) -> bool:
    """Whether a part of a fault's place is of the file; not what the library calls a kind of value there."""
    return (
        isinstance(part, int)
        or part == "[key]"
        or not ("[" in part or part.startswith("constrained-") or part in _ARMS)
    )


_ARMS = frozenset(("str", "int", "float", "bool", "text", "entry", "ReadingQuery", "TripFlag", "Operation"))
