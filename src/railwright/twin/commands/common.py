"""Common commands of IEEE 488.2-1992, chapter 10. *OPC? and *WAI wait in the server; here nothing is pending
any more.
"""

from __future__ import annotations

from railwright.scpi.errors import ScpiError
from railwright.scpi.parameters import integer_in
from railwright.twin.commands.tree import TREE, Call, Command
from railwright.twin.supply import TwinSupply, version
from railwright.version import TWIN_MAKER


def _identify(supply: TwinSupply, call: Call) -> str:
    """Four fields: who made it, model, serial number (0: none), version (10.14.3).

    The version ends with the token of this very twin: two twins of one document are two instruments.
    """
    model = supply.document.model or "Simulated supply"
    fields = (TWIN_MAKER, model, supply.document.serial or "0", f"{version()}-{supply.token}")
    return ",".join(field.replace(",", " ").replace(";", " ") for field in fields)


def _clear(supply: TwinSupply, call: Call) -> None:
    supply.status.clear()
    supply.completion_asked = False


def _complete(supply: TwinSupply, call: Call) -> None:
    supply.completion_asked = True
    if not supply.busy:
        supply.completion_asked = False
        supply.status.standard_event |= 1


def _read_events(supply: TwinSupply, call: Call) -> str:
    events, supply.status.standard_event = supply.status.standard_event, 0
    return str(events)


def _enable_events(supply: TwinSupply, call: Call) -> None:
    supply.status.standard_enable = integer_in(call.parameters[0], 0, 255)


def _enable_service(supply: TwinSupply, call: Call) -> None:
    """Bit 6 cannot be enabled (11.3.2)."""
    supply.status.service_enable = integer_in(call.parameters[0], 0, 255) & ~(1 << 6)


def _trigger(supply: TwinSupply, call: Call) -> None:
    if not supply.armed:
        raise ScpiError(-211, "nothing has been initiated")
    for channel in sorted(supply.armed):
        supply.fire(channel)
    supply.refresh()


TREE.add("*IDN?", Command(_identify))
TREE.add("*RST", Command(lambda supply, call: supply.reset()))
TREE.add("*TST?", Command(lambda supply, call: "0"))
TREE.add("*CLS", Command(_clear))
TREE.add("*OPC", Command(_complete))
TREE.add("*OPC?", Command(lambda supply, call: "1"))
TREE.add("*WAI", Command(lambda supply, call: None))
TREE.add("*ESR?", Command(_read_events))
TREE.add("*ESE", Command(_enable_events, least=1, most=1))
TREE.add("*ESE?", Command(lambda supply, call: str(supply.status.standard_enable)))
TREE.add("*SRE", Command(_enable_service, least=1, most=1))
TREE.add("*SRE?", Command(lambda supply, call: str(supply.status.service_enable)))
TREE.add("*STB?", Command(lambda supply, call: str(supply.status.status_byte(answer_waiting=False))))
TREE.add("*TRG", Command(_trigger))
