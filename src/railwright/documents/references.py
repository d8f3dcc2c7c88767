"""Names by which parts of documents refer to each other: collecting them, and saying what is not known."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from graphlib import CycleError, TopologicalSorter

from railwright.documents.files import DocumentSource
from railwright.documents.nodes import Node
from railwright.documents.sources import Problem, none_of
from railwright.quantities import quoted

Path = tuple[str | int, ...]


def names(source: DocumentSource | None, *path: str | int) -> list[str] | None:
    """Keys of the mapping at a path, by which others refer to its entries; None where they are not sure."""
    if source is None or source.ambiguous:
        return None
    return keys(source.root.get(*path)) or None


def keys(node: Node | None) -> list[str]:
    """Keys of a mapping; none where there is no mapping."""
    return list(node.entries) if node is not None else []


def items(node: Node | None) -> Sequence[Node]:
    """Items of a list; none where there is no list."""
    return node.items if node is not None else []


def text(node: Node | None) -> str | None:
    """Text of a scalar; None where there is none."""
    return node.text if node is not None and node.kind == "scalar" else None


def texts(source: DocumentSource, *path: str | int) -> Iterator[tuple[Path, str]]:
    """Path and text of each scalar in the list at a path."""
    return (
        ((*path, position), item.text)
        for position, item in enumerate(items(source.root.get(*path)))
        if item.kind == "scalar" and item.text is not None
    )


def unknown(
    source: DocumentSource, path: Path, what: str, known: Iterable[str] | None, *, key: bool = False
) -> Iterator[Problem]:
    """A problem where the name at a path (its last key, if `key`) is none of the known ones.

    what: what the names stand for, in the plural. known: None where its document is broken.
    """
    node = source.root.get(*path)
    name = str(path[-1]) if key else text(node)
    if known is None or name is None:
        return
    known = list(known)
    if name in known:
        return
    yield Problem(source.where(path, key=key), none_of(what, known, name))


def twice(
    source: DocumentSource, paths: Iterable[tuple[Path, str]], what: str, remedy: str
) -> Iterator[Problem]:
    """A problem for each name that comes a second time."""
    seen: dict[str, int] = {}
    for path, name in paths:
        place = source.where(path)
        if name in seen:
            yield Problem(
                place,
                f"expected each {what} once, got {quoted(name)} again (first in line {seen[name]}); {remedy}",
            )
        else:
            seen[name] = place.line


def circle(before: Mapping[str, Iterable[str]]) -> list[str]:
    """Names that wait for each other, the first again at the end; empty where there is an order.

    before: name -> those that come before it.
    """
    try:
        TopologicalSorter(before).prepare()
    except CycleError as error:
        return list(error.args[1])
    return []
