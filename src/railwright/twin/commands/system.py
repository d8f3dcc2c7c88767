"""SYSTem and INSTrument. INSTrument exists in the selected-output dialect only."""

from __future__ import annotations

import re

from railwright.scpi.data import Word
from railwright.scpi.errors import ScpiError
from railwright.scpi.parameters import integer_in
from railwright.twin.commands.tree import TREE, Command
from railwright.twin.supply import Call, TwinSupply

SCPI_VERSION = "1999.0"


def _select(supply: TwinSupply, call: Call) -> None:
    supply.selected = integer_in(call.parameters[0], 1, len(supply.panels), 1) - 1


def _select_by_name(supply: TwinSupply, call: Call) -> None:
    given = call.parameters[0]
    found = re.fullmatch(r"OUTP(?:UT)?(\d{1,4})", given.text.upper()) if isinstance(given, Word) else None
    if found is None or not 1 <= int(found.group(1)) <= len(supply.panels):
        raise ScpiError(-224, f"one of OUTPut1..OUTPut{len(supply.panels)} is expected")
    supply.selected = int(found.group(1)) - 1


def _catalog(supply: TwinSupply, call: Call) -> str:
    return ",".join(f'"OUTP{number}"' for number in range(1, len(supply.panels) + 1))


TREE.add("SYSTem:ERRor[:NEXT]?", Command(lambda supply, call: supply.status.errors.take()))
TREE.add("SYSTem:ERRor:COUNt?", Command(lambda supply, call: str(len(supply.status.errors))))
TREE.add("SYSTem:VERSion?", Command(lambda supply, call: SCPI_VERSION))
TREE.add("INSTrument:NSELect", Command(_select, least=1, most=1, only_dialect="selected-output"))
TREE.add(
    "INSTrument:NSELect?",
    Command(lambda supply, call: str(supply.selected + 1), only_dialect="selected-output"),
)
TREE.add("INSTrument[:SELect]", Command(_select_by_name, least=1, most=1, only_dialect="selected-output"))
TREE.add(
    "INSTrument[:SELect]?",
    Command(lambda supply, call: f"OUTP{supply.selected + 1}", only_dialect="selected-output"),
)
TREE.add("INSTrument:CATalog?", Command(_catalog, only_dialect="selected-output"))
