"""How a family of supplies spells the headers of the twin's commands, for each dialect that has its own.

    SPELLINGS = {"my-dialect": {"[SOURce]:VOLTage:PROTection[:LEVel]": "VOLTage:LIMit"}}

Written by hand from what the family's manual says, never from the driver's dialect file: each then tells of a
slip in the other. A dialect that does not stand here has the headers that the other modules give. Values,
units, answers and registers are the same in every family.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from railwright.scpi.headers import CommandTree
from railwright.twin.commands.tree import TREE, Command

SPELLINGS: dict[str, Mapping[str, str]] = {}
"""Dialect -> a command's header as the other modules give it -> how the family spells it, and its query."""


@cache
def tree_of(dialect: str) -> CommandTree[Command]:
    """The commands of a twin of this dialect. ValueError where it spells one that is not there."""
    spelled = SPELLINGS.get(dialect)
    if spelled is None:
        return TREE
    tree: CommandTree[Command] = CommandTree()
    unknown = set(spelled)
    for pattern, command in TREE.entries:
        header = pattern.removesuffix("?")
        unknown.discard(header)
        tree.add(spelled.get(header, header) + pattern[len(header) :], command)
    if unknown:
        raise ValueError(f"'{dialect}' spells headers that no command has: {', '.join(sorted(unknown))}")
    return tree
