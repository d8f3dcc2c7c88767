"""Families of supplies: how the twin of each dialect spells its commands, what it has besides, and what it
does not have.

    FAMILIES = {"my-dialect": Family(spelled={"[SOURce]:VOLTage:PROTection[:LEVel]": "VOLTage:LIMit"})}

Written by hand from what a family's manual says, never from the driver's dialect file: each then tells of a
slip in the other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from railwright.dialects.dialect import Dialect
from railwright.scpi.errors import ErrorForm

ListsBy = Literal["points", "block", "file"]


@dataclass(frozen=True)
class Family:
    """spelled: a command's header as the other modules give it -> how the family spells it, and its query.
    lacks: headers that the family does not have. scaled: header -> what one of a number without a unit is, in
    the unit that the other modules take. takes, gives: what ends a message, and an answer. master: its
    outputs deliver only while a switch over all of them is on, too; it is off when the supply comes up.
    ranges: a low one for the lower half of its voltages, in which it comes up, and the whole. lists: how its
    point lists are written: points, block (of text; answered so too) or file. remote: it takes nothing but
    questions until SYSTem:REMote. units: its numbers have their unit behind them. alone: it takes one command
    a message. error_form: how it writes an entry of its error queue. answers_after: what comes sooner after a
    connection begins than this [s] is lost.
    """

    spelled: Mapping[str, str] = field(default_factory=dict)
    lacks: frozenset[str] = frozenset()
    scaled: Mapping[str, float] = field(default_factory=dict)
    takes: str = "\n"
    gives: str = "\n"
    master: bool = False
    ranges: bool = False
    lists: ListsBy = "points"
    remote: bool = False
    units: bool = False
    alone: bool = False
    error_form: ErrorForm = "quoted"
    answers_after: float = 0.0


NO_QUEUE = frozenset({"SYSTem:ERRor[:NEXT]", "SYSTem:ERRor:COUNt"})
DELAYS = ("[SOURce]:CURRent:PROTection:DELay", "[SOURce]:CURRent:PROTection:LEVel:DELay")

FAMILIES: dict[str, Family] = {
    "channel-list": Family(),
    "named-output": Family(lacks=NO_QUEUE, lists="block"),
    "numbered-header": Family(
        spelled={"SYSTem:OUTPut[:STATe]": "SYSTem:RELease"},
        scaled=dict.fromkeys(DELAYS, 1e-3),
        master=True,
        lists="file",
    ),
    "prefixed": Family(master=True, ranges=True),
    "selected-apart": Family(
        lacks=frozenset({"OUTPut:PROTection:LINK", "OUTPut:PROTection:LINK:TRIPped"}),
        remote=True,
        units=True,
        alone=True,
        answers_after=0.04,
    ),
    "selected-output": Family(),
    "single-output": Family(
        takes="\r",
        gives="\r\n",
        lacks=NO_QUEUE | {"OUTPut:PROTection:LINK", "OUTPut:PROTection:LINK:TRIPped"},
    ),
}
"""By the names of their dialects."""


def family_of(dialect: Dialect) -> Family:
    """The family of a dialect; of a user's own, one with the headers that the other modules give, and what
    the dialect says of its manner.
    """
    session = dialect.session
    own = Family(
        takes=session.sends,
        gives=session.answers,
        master=dialect.master is not None,
        ranges=dialect.can_set("voltage_range"),
        lists="points" if dialect.points is None else dialect.points.written,
        error_form=dialect.instrument.error_form,
    )
    return FAMILIES.get(dialect.name, own)
