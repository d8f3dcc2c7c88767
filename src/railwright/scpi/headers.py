"""Command headers: short and long forms, optional nodes, numeric suffixes, and the tree that finds a header's
command.

Sources: SCPI-1999 vol. 1, 6.2.1 (mnemonics), 6.2.5.2 (numeric suffixes); vol. 2, 1.3 (brackets mark
nodes that may be left out).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Generic, TypeVar

from railwright.scpi.errors import ScpiError

Command = TypeVar("Command")

_NODE = re.compile(r"(\*?[A-Z][A-Z0-9_]*)([a-z0-9_]*)(#?)")
_PIECE = re.compile(r"(\[)?:?([A-Za-z*][A-Za-z0-9_#]*)(\])?")
_TRAILING_DIGITS = re.compile(r"(.*?)(\d+)\Z")


@dataclass(frozen=True)
class HeaderNode:
    """One node of a pattern: its two spellings in capitals, whether it may be left out and may carry a
    number.
    """

    short: str
    long: str
    optional: bool = False
    numbered: bool = False


def parse_pattern(pattern: str) -> tuple[tuple[HeaderNode, ...], bool]:
    """Nodes of a pattern such as `[SOURce#]:VOLTage[:LEVel]?`, and whether it is a query. ValueError if
    malformed.
    """
    body, query = (pattern[:-1], True) if pattern.endswith("?") else (pattern, False)
    nodes, here = [], 0
    while here < len(body):
        piece = _PIECE.match(body, here)
        word = _NODE.fullmatch(piece.group(2)) if piece else None
        if piece is None or word is None or bool(piece.group(1)) != bool(piece.group(3)):
            raise ValueError(f"header pattern {pattern!r} is malformed at {body[here:]!r}")
        capitals = word.group(1)
        nodes.append(
            HeaderNode(capitals, capitals + word.group(2).upper(), bool(piece.group(1)), bool(word.group(3)))
        )
        here = piece.end()
    if not nodes:
        raise ValueError("a header pattern needs a node")
    return tuple(nodes), query


@dataclass
class _Branch(Generic[Command]):
    children: dict[str, tuple[_Branch[Command], bool]] = field(default_factory=dict)
    commands: dict[bool, Command] = field(default_factory=dict)


class CommandTree(Generic[Command]):
    """Commands under their headers. `add` takes a pattern, `add_all` a table of them, `find` a header's nodes
    as they came.
    """

    def __init__(self) -> None:
        self._root: _Branch[Command] = _Branch()
        self._entries: list[tuple[str, Command]] = []

    @property
    def entries(self) -> tuple[tuple[str, Command], ...]:
        """All patterns added, in order, each with its command."""
        return tuple(self._entries)

    def add(self, pattern: str, command: Command) -> None:
        """Put a command under a pattern. ValueError when the pattern, or a way of writing it, is already
        taken.
        """
        nodes, query = parse_pattern(pattern)
        for chosen in _ways_of_writing(nodes):
            branch = self._root
            for node in chosen:
                branch = _descend(branch, node)
            if query in branch.commands:
                raise ValueError(f"header pattern {pattern!r} is taken already")
            branch.commands[query] = command
        self._entries.append((pattern, command))

    def add_all(self, commands: Mapping[str, Command]) -> None:
        """Put each command under its pattern."""
        for pattern, command in commands.items():
            self.add(pattern, command)

    def find(self, nodes: tuple[str, ...], query: bool) -> tuple[Command, tuple[int, ...]]:
        """The command and the numbers its nodes carried. -113 when there is none, -114 for a number out of
        reach.
        """
        branch, numbers = self._root, []
        for word in nodes:
            child, number = _child_of(branch, word.upper())
            if child is None:
                raise ScpiError(-113, ":".join(nodes) + ("?" if query else ""))
            branch = child
            if number is not None:
                numbers.append(number)
        if query not in branch.commands:
            raise ScpiError(-113, ":".join(nodes) + ("?" if query else ""))
        return branch.commands[query], tuple(numbers)


def _ways_of_writing(nodes: tuple[HeaderNode, ...]) -> list[list[HeaderNode]]:
    ways: list[list[HeaderNode]] = [[]]
    for node in nodes:
        ways = [[*way, node] for way in ways] + (ways if node.optional else [])
    return [way for way in ways if way]


def _descend(branch: _Branch[Command], node: HeaderNode) -> _Branch[Command]:
    found = branch.children.get(node.short) or branch.children.get(node.long)
    child, numbered = found if found else (_Branch[Command](), False)
    entry = (child, numbered or node.numbered)
    branch.children[node.short] = branch.children[node.long] = entry
    return child


def _child_of(branch: _Branch[Command], word: str) -> tuple[_Branch[Command] | None, int | None]:
    if word in branch.children:
        child, _ = branch.children[word]
        return child, None
    with_number = _TRAILING_DIGITS.fullmatch(word)
    if with_number is None or with_number.group(1) not in branch.children:
        return None, None
    child, numbered = branch.children[with_number.group(1)]
    if not numbered or len(with_number.group(2)) > 6:
        raise ScpiError(-114, word)
    return child, int(with_number.group(2))
