"""Families of supplies: how the twin of each dialect spells its commands, and what it does not have.

    FAMILIES = {"my-dialect": Family(spelled={"[SOURce]:VOLTage:PROTection[:LEVel]": "VOLTage:LIMit"})}

Written by hand from what a family's manual says, never from the driver's dialect file: each then tells of a
slip in the other. A dialect that does not stand here, such as a user's own, has the headers that the other
modules give, in the form of its addressing: with a number in the first node of every command of an output
(SCPI-1999 vol. 1, 6.2.5.2), with INSTrument<n> before it, or as they are. Registers are the same everywhere.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache

from railwright.dialects.dialect import Dialect
from railwright.scpi.data import Datum, Number
from railwright.scpi.headers import CommandTree
from railwright.scpi.numbers import format_nr3, parse_response
from railwright.twin.commands.tree import TREE, Call, Command
from railwright.twin.supply import TwinSupply


@dataclass(frozen=True)
class Family:
    """spelled: a command's header as the other modules give it -> how the family spells it, and its query.
    lacks: headers that the family does not have. scaled: header -> what one of a number without a unit is, in
    the unit that the other modules take. takes, gives: what ends a message, and an answer.
    """

    spelled: Mapping[str, str] = field(default_factory=dict)
    lacks: frozenset[str] = frozenset()
    scaled: Mapping[str, float] = field(default_factory=dict)
    takes: str = "\n"
    gives: str = "\n"


NO_QUEUE = frozenset({"SYSTem:ERRor[:NEXT]", "SYSTem:ERRor:COUNt"})
DELAYS = ("[SOURce]:CURRent:PROTection:DELay", "[SOURce]:CURRent:PROTection:LEVel:DELay")

FAMILIES: dict[str, Family] = {
    "named-output": Family(lacks=NO_QUEUE),
    "numbered-header": Family(scaled=dict.fromkeys(DELAYS, 1e-3)),
    "single-output": Family(
        takes="\r",
        gives="\r\n",
        lacks=NO_QUEUE | {"OUTPut:PROTection:LINK", "OUTPut:PROTection:LINK:TRIPped"},
    ),
}
"""By the names of their dialects."""


def line_ends(dialect: Dialect) -> tuple[bytes, bytes]:
    """What ends a message to a twin of this dialect, and its answer; of a user's own, as the dialect says."""
    family = FAMILIES.get(dialect.name)
    ends = (family.takes, family.gives) if family else (dialect.session.sends, dialect.session.answers)
    takes, gives = (end.encode("latin-1") for end in ends)
    return takes, gives


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
