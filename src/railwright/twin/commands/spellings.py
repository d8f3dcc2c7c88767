"""How the twin of each family of supplies spells its commands: the tree of each, made of `TREE`.

A dialect that is no family, such as a user's own, has the headers that the other modules give, in the form of
its addressing: with a number in the first node of every command of an output (SCPI-1999 vol. 1, 6.2.5.2),
with INSTrument<n> before it, or as they are. Registers are the same everywhere.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

from railwright.dialects.dialect import Dialect
from railwright.scpi.data import Datum, Number
from railwright.scpi.headers import CommandTree
from railwright.scpi.numbers import format_nr3, parse_response
from railwright.twin.commands.tree import TREE, Call, Command
from railwright.twin.families import FAMILIES, Family, family_of
from railwright.twin.supply import TwinSupply


def line_ends(dialect: Dialect) -> tuple[bytes, bytes]:
    """What ends a message to a twin of this dialect, and its answer; of a user's own, as the dialect says."""
    family = family_of(dialect)
    return family.takes.encode("latin-1"), family.gives.encode("latin-1")


@cache
def tree_of(dialect: str, addressing: str = "") -> CommandTree[Command]:
    """The commands of a twin of this dialect. ValueError where its family names one that is not there."""
    family = FAMILIES.get(dialect)
    if family is None and addressing not in ("numbered-header", "prefixed"):
        return TREE
    family = family or Family()
    tree: CommandTree[Command] = CommandTree()
    unknown = {*family.spelled, *family.lacks, *family.scaled}
    for pattern, command in TREE.entries:
        header = pattern.removesuffix("?")
        unknown.discard(header)
        if header in family.lacks:
            continue
        spelled = family.spelled.get(header, header) + pattern[len(header) :]
        if command.per_output:
            spelled = _addressed(spelled, addressing)
        if family.units and command.units:
            command = replace(command, run=_with_units(command.run, command.units))
        if header in family.scaled:
            command = replace(command, run=_scaled(command.run, family.scaled[header]))
        tree.add(spelled, command)
    if unknown:
        raise ValueError(f"'{dialect}' names headers that no command has: {', '.join(sorted(unknown))}")
    return tree


def _addressed(pattern: str, addressing: str) -> str:
    """The pattern of an output's command, with the output's number where the addressing has one."""
    if addressing == "numbered-header":
        first, optional, rest = pattern.partition("]") if pattern.startswith("[") else _first_node(pattern)
        return f"{first}#{optional}{rest}"
    if addressing == "prefixed":
        return "INSTrument#" + ("[:" + pattern[1:] if pattern.startswith("[") else ":" + pattern)
    return pattern


def _first_node(pattern: str) -> tuple[str, str, str]:
    """The first node, and what follows it from its end on."""
    end = min((place for sign in ":[?" if (place := pattern.find(sign)) > 0), default=len(pattern))
    return pattern[:end], "", pattern[end:]


def _with_units(
    run: Callable[[TwinSupply, Call], str | None], units: tuple[str, ...]
) -> Callable[[TwinSupply, Call], str | None]:
    """The same query of a family whose numbers have their unit behind them."""

    def with_units(supply: TwinSupply, call: Call) -> str | None:
        parts = (run(supply, call) or "").split(",")
        return ",".join(f"{part}{units[place % len(units)]}" for place, part in enumerate(parts))

    return with_units


def _scaled(
    run: Callable[[TwinSupply, Call], str | None], factor: float
) -> Callable[[TwinSupply, Call], str | None]:
    """The same command of a family whose numbers, where no unit follows them, are so many of the usual."""

    def scaled(supply: TwinSupply, call: Call) -> str | None:
        answer = run(supply, replace(call, parameters=tuple(map(told, call.parameters))))
        if answer is None:
            return None
        return ",".join(format_nr3(parse_response(part) / factor) for part in answer.split(","))

    def told(datum: Datum) -> Datum:
        bare = isinstance(datum, Number) and not datum.suffix
        return replace(datum, value=datum.value * factor) if bare and isinstance(datum, Number) else datum

    return scaled
