"""Whether each operation of a dialect has a command and an answer of its own, and none but the switches can
switch an output on: a set point whose header is the output's would energise it whenever it is set.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from itertools import combinations
from typing import NamedTuple

from railwright.dialects.harmless import any_of, header_of, nodes_of, short_of
from railwright.dialects.units import BEFORE_VALUE, CHANNEL, VALUE
from railwright.dialects.words import forms

Path = tuple[str | int, ...]

SWITCH_NAMES = ("OUTPut", "OUT", "OP")
BESIDE_SWITCH = (
    *("SOURce", "SYSTem", "INSTrument", "CHANnel", "UNIT", "POWer", "STATe", "ENABle", "IMMediate", "ALL"),
    *("GENeral", "MASTer", "MAIN", "RELay", "ON", "OFF"),
)
"""Nodes that name the switch of an output (OUTPut: SCPI-1999; the others: common practice, no source), and
those that may stand beside one without making another command of it.
"""

ROOTS = (
    *(
        "PRESet",
        "RECall",
        "RESet",
        "RST",
        "CALibration",
        "DIAGnostic",
        "TEST",
        "INITiate",
        "TRIGger",
        "ABORt",
    ),
    *("ARM", "MEMory", "MMEMory", "DEFault", "FACTory"),
)
LAST = ("CLEar", "RESet", "RST", "RECall", "PRESet", "DEFault", "FACTory")
"""First, and last, nodes of commands that start, clear or reset something, and set nothing (DEFault, FACTory,
RECall, RESet: common practice, no source).
"""

_LEFT_OUT = ("LEVel", "IMMediate", "AMPLitude")
"""Last nodes that SCPI-1999 (vol. 2, SOURce) lets one leave out; STATe of OUTPut (vol. 2, 15) is another."""

_SIGN = re.compile(r"[=#,]")


class Used(NamedTuple):
    """A header that a dialect uses: of what, and where it stands in the file.

    spoken: the same with what stands before it, and the names of outputs in it. part: which part of the
    answer is meant, None: all of it; by output where one answer has those of all. worded: of what the answer
    tells by bits or words of its own; several may be told of by one.
    """

    name: str
    path: Path
    header: str
    spoken: tuple[str, ...] = ()
    part: int | Mapping[int, int] | None = None
    worded: str = ""


class NotApart(NamedTuple):
    """What is wrong with a header, and where it stands."""

    path: Path
    message: str


def not_apart(commands: Sequence[Used], queries: Sequence[Used]) -> NotApart | None:
    """The first header that two operations have, or that does more than its operation; None: none does."""
    for command in commands:
        if why := _does_more(command):
            return NotApart(
                command.path,
                f"expected a command of '{command.name}', got '{command.header}', {why}; write the header "
                "that sets this alone",
            )
    for one, other in _pairs(commands):
        if _same_command(one, other):
            return NotApart(
                other.path,
                f"expected another command for '{other.name}' than for '{one.name}', got '{other.header}' "
                f"and '{one.header}', which are one; write the header of each",
            )
    for one, other in _pairs(queries):
        if _same_answer(one, other) and _alike(one.header, other.header):
            return NotApart(
                other.path,
                f"expected another query for '{other.name}' than for '{one.name}', got '{other.header}' for "
                "both; write the query of each, or a 'field' of each where one answer has both",
            )
    return None


def _pairs(used: Sequence[Used]) -> Iterable[tuple[Used, Used]]:
    """Those that may be alike: each node begins with the same letter."""
    groups = dict[tuple[str, ...], list[Used]]()
    for each in used:
        groups.setdefault(tuple(node[:1].upper() for node in _bare_nodes(each.header)), []).append(each)
    return (pair for group in groups.values() for pair in combinations(group, 2))


def _does_more(used: Used) -> str:
    """Why a command does something else than what it is there for; '' where it does not."""
    switches, own = used.name in ("output", "master"), used.name
    if own == "actions.clear_trips":
        return ""  # looked at apart
    if used.header.startswith("*"):
        starts = own == "points.start" and used.header.upper() == "*TRG"
        return "" if starts else "a common command, which acts on the whole instrument"
    for text in (used.header, *used.spoken):
        nodes = nodes_of(text)
        beside = [node for node in nodes if not any_of([node], BESIDE_SWITCH)]
        if not switches and len(beside) == 1 and any_of(beside, SWITCH_NAMES):
            return "which switches an output"
        found = any_of(nodes[-1:], LAST)
        if not own.startswith("points."):
            found = found or any_of(nodes[:1], ROOTS) or (any_of(nodes[1:2], ROOTS) if _system(nodes) else "")
        if found:
            return f"a command of {found}, which starts, clears or resets something"
    return ""


def _system(nodes: Sequence[str]) -> bool:
    return bool(any_of(nodes[:1], ("SYSTem",)))


def _same_command(one: Used, other: Used) -> bool:
    """Whether two commands are one. Both may clear trips: that is told by their entry. A number in the name
    of a switch counts for nothing: what switches another output is no set point.
    """
    if one.name == other.name == "actions.clear_trips":
        return False
    switch = any(each.name in ("output", "master") for each in (one, other))
    return _alike(one.header, other.header, numbers=not switch)


def _same_answer(one: Used, other: Used) -> bool:
    """Whether two queries mean the same part of an answer, and nothing else tells them apart."""
    if one.worded and one.worded == other.worded:
        return False
    if isinstance(one.part, Mapping) and isinstance(other.part, Mapping):
        return any(other.part.get(channel) == field for channel, field in one.part.items())
    return None in (one.part, other.part) or one.part == other.part


def _alike(one: str, other: str, *, numbers: bool = True) -> bool:
    """Whether an instrument takes two headers for one: long or short, with or without what may be left
    out.
    """
    if one == other:
        return True
    if _rest(one) != _rest(other):
        return False
    own, its = _bare_nodes(one, numbers=numbers), _bare_nodes(other, numbers=numbers)
    return len(own) == len(its) and all(_same_node(*pair) for pair in zip(own, its, strict=True))


@lru_cache(maxsize=1000)
def _bare_nodes(header: str, *, numbers: bool = True) -> tuple[str, ...]:
    """The nodes of a header without those that may be left out. A number of 1 may be left out, too."""
    if header.startswith("*"):
        return (header.upper(),)
    nodes = nodes_of(header, numbers=numbers)
    while len(nodes) > 1 and any_of(nodes[-1:], _LEFT_OUT):
        nodes = nodes[:-1]
    if len(nodes) > 1 and any_of(nodes[-1:], ("STATe",)) and any_of(nodes[-2:-1], ("OUTPut",)):
        nodes = nodes[:-1]
    return tuple(nodes)


def _rest(header: str) -> str:
    """What stands behind the name of a header, without what it leaves open: `SET {channel},V,{value}`."""
    bare = header.replace(CHANNEL, "").replace(VALUE, "")
    name = header_of(bare)
    sign = _SIGN.search(name)
    rest = bare[sign.start() if sign else len(name) :]
    return rest.strip(BEFORE_VALUE).upper()


def _same_node(one: str, other: str) -> bool:
    """Whether two nodes are one: what is written of one, long or short, is a form of the other."""
    own, its = {*forms(one)}, {*forms(other)}
    return bool(own & {*its, *short_of(other)} or its & {*own, *short_of(one)})
