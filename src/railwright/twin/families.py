"""Families of supplies: how the twin of each dialect spells its commands, what it has besides, and what it
does not have.

    FAMILIES = {"my-dialect": Family(spelled={"[SOURce]:VOLTage:PROTection[:LEVel]": "VOLTage:LIMit"})}

Written by hand from what a family's manual says, never from the driver's dialect file: each then tells of a
slip in the other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from railwright.dialects.dialect import Dialect


@dataclass(frozen=True)
class Family:
    """spelled: a command's header as the other modules give it -> how the family spells it, and its query.
    lacks: headers that the family does not have. scaled: header -> what one of a number without a unit is, in
    the unit that the other modules take. takes, gives: what ends a message, and an answer. master: its
    outputs deliver only while a switch over all of them is on, too; it is off when the supply comes up.
    """

    spelled: Mapping[str, str] = field(default_factory=dict)
    lacks: frozenset[str] = frozenset()
    scaled: Mapping[str, float] = field(default_factory=dict)
    takes: str = "\n"
    gives: str = "\n"
    master: bool = False


NO_QUEUE = frozenset({"SYSTem:ERRor[:NEXT]", "SYSTem:ERRor:COUNt"})
DELAYS = ("[SOURce]:CURRent:PROTection:DELay", "[SOURce]:CURRent:PROTection:LEVel:DELay")

FAMILIES: dict[str, Family] = {
    "channel-list": Family(),
    "named-output": Family(lacks=NO_QUEUE, master=True),
    "numbered-header": Family(
        spelled={"SYSTem:OUTPut[:STATe]": "SYSTem:RELease"}, scaled=dict.fromkeys(DELAYS, 1e-3), master=True
    ),
    "prefixed": Family(),
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
    own = Family(
        takes=dialect.session.sends, gives=dialect.session.answers, master=dialect.master is not None
    )
    return FAMILIES.get(dialect.name, own)
