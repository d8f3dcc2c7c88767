"""SYSTem and INSTrument. INSTrument exists where outputs are selected only.

Not in SCPI-1999: SYSTem:COMMunicate:WATChdog:TIME and :STATe, the communication watchdog; SYSTem:REMote with
its query, and SYSTem:LOCal.
"""

from __future__ import annotations

import re

from railwright.scpi.data import Word
from railwright.scpi.errors import ScpiError
from railwright.scpi.numbers import format_nr3
from railwright.scpi.parameters import boolean, integer_in, number_in
from railwright.twin.commands.tree import TREE, Call, Command
from railwright.twin.supply import TwinSupply, TwinWatchdog


def _select(supply: TwinSupply, call: Call) -> None:
    channels = supply.channels
    number = integer_in(call.parameters[0], min(channels), max(channels), min(channels))
    if number not in channels:
        raise ScpiError(-222, f"channel {number} of {', '.join(str(each) for each in sorted(channels))}")
    supply.selected = channels.index(number)


def _select_by_name(supply: TwinSupply, call: Call) -> None:
    given = call.parameters[0]
    found = re.fullmatch(r"UNIT(\d{1,9})", given.text.upper()) if isinstance(given, Word) else None
    if found is None or int(found.group(1)) not in supply.channels:
        raise ScpiError(-224, f"one of {', '.join(f'UNIT{each}' for each in supply.channels)} is expected")
    supply.selected = supply.channels.index(int(found.group(1)))


def _catalog(supply: TwinSupply, call: Call) -> str:
    return ",".join(f'"UNIT{number}"' for number in supply.channels)


def _watchdog(supply: TwinSupply) -> TwinWatchdog:
    if supply.document.watchdog is None:
        raise ScpiError(-241, "no communication watchdog")
    return supply.watchdog


def _put_watchdog_time(supply: TwinSupply, call: Call) -> None:
    watchdog, document = _watchdog(supply), supply.document.watchdog
    assert document is not None
    times = document.times
    watchdog.time = number_in(call.parameters[0], "S", times.low, times.high, times.high)


def _put_watchdog_state(supply: TwinSupply, call: Call) -> None:
    _watchdog(supply).on = boolean(call.parameters[0])


def _go(remote: bool) -> Command:
    def run(supply: TwinSupply, call: Call) -> None:
        supply.remote = remote

    return Command(run, local=True)


TREE.add_all(
    {
        "SYSTem:REMote": _go(remote=True),
        "SYSTem:REMote?": Command(lambda supply, call: str(int(supply.remote))),
        "SYSTem:LOCal": _go(remote=False),
        "SYSTem:COMMunicate:WATChdog:TIME": Command(_put_watchdog_time, least=1, most=1),
        "SYSTem:COMMunicate:WATChdog:TIME?": Command(lambda supply, call: format_nr3(_watchdog(supply).time)),
        "SYSTem:COMMunicate:WATChdog:STATe": Command(_put_watchdog_state, least=1, most=1),
        "SYSTem:COMMunicate:WATChdog:STATe?": Command(lambda supply, call: str(int(_watchdog(supply).on))),
        "INSTrument:NSELect": Command(_select, least=1, most=1, selecting=True),
        "INSTrument:NSELect?": Command(
            lambda supply, call: str(supply.channels[supply.selected]), selecting=True
        ),
        "INSTrument[:SELect]": Command(_select_by_name, least=1, most=1, selecting=True),
        "INSTrument[:SELect]?": Command(
            lambda supply, call: f"UNIT{supply.channels[supply.selected]}", selecting=True
        ),
        "INSTrument:CATalog?": Command(_catalog, selecting=True),
    }
)
