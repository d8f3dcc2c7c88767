"""A document as text, from what it says: mappings, lists and texts."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from railwright.first_power.text import quote

WIDTH = 100
"""Columns within which something stands in one line."""

Tree = Mapping[str, Any]
"""What a document says: keys with texts, lists and further mappings."""


def as_document(tree: Tree, remarks: Sequence[str] = ()) -> str:
    """The text of a document. remarks: comments at its head, a paragraph each."""
    head = [
        f"# {line}" for remark in remarks for line in textwrap.wrap(remark, WIDTH, break_on_hyphens=False)
    ]
    return "\n".join([*head, *_block(tree, "", most=0)]) + "\n"


def _block(value: Any, indent: str, most: int = WIDTH) -> Iterator[str]:
    """Lines of a mapping or a list; what is short stands in one. most: columns that one line may take."""
    for key, own in _entries(value):
        line = f"{indent}{key} {_flow(own)}".rstrip()
        if not isinstance(own, Mapping | list) or not own or len(line) <= most:
            yield line
        elif key == "-" and isinstance(own, Mapping):
            first, *rest = _block(own, f"{indent}  ")
            yield f"{indent}- {first.lstrip()}"
            yield from rest
        else:
            yield f"{indent}{key}"
            yield from _block(own, f"{indent}  ")


def _entries(value: Any) -> Iterator[tuple[str, Any]]:
    if isinstance(value, Mapping):
        yield from ((f"{quote(str(key))}:", own) for key, own in value.items())
    else:
        yield from (("-", own) for own in value)


def _flow(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{quote(str(key))}: {_flow(own)}" for key, own in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_flow, value)) + "]"
    return "" if value is None else quote(str(value))
