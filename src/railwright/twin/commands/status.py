"""STATus: the questionable and operation registers of the supply, and of each output (ISUMmary<n>).

Bits 0 (voltage) and 1 (current) of the questionable register, 3 (sweeping) and 5 (waiting for trigger) of the
operation register, and 13 (instrument summary) are the standard's; 8 to 12 are free for the device: see
`railwright.twin.registers`.
"""

from __future__ import annotations

from collections.abc import Callable

from railwright.scpi.errors import ScpiError
from railwright.scpi.parameters import integer_in
from railwright.twin.commands.tree import TREE, Call, Command
from railwright.twin.registers import ALL_BITS, EventRegister
from railwright.twin.supply import TwinSupply

Find = Callable[[TwinSupply, Call], EventRegister]


def _register_commands(root: str, find: Find) -> None:
    """The six headers of one register set under `root`."""

    def settable(node: str, attribute: str) -> None:
        def change(supply: TwinSupply, call: Call) -> None:
            setattr(find(supply, call), attribute, integer_in(call.parameters[0], 0, 65535) & ALL_BITS)
            supply.refresh()

        TREE.add(f"{root}:{node}", Command(change, least=1, most=1))
        TREE.add(f"{root}:{node}?", Command(lambda supply, call: str(getattr(find(supply, call), attribute))))

    def read_event(supply: TwinSupply, call: Call) -> str:
        event = find(supply, call).read_event()
        supply.refresh()
        return str(event)

    TREE.add(f"{root}[:EVENt]?", Command(read_event))
    TREE.add(f"{root}:CONDition?", Command(lambda supply, call: str(find(supply, call).condition)))
    settable("ENABle", "enable")
    settable("PTRansition", "rising")
    settable("NTRansition", "falling")


def _of_output(registers: Callable[[TwinSupply], list[EventRegister]]) -> Find:
    def find(supply: TwinSupply, call: Call) -> EventRegister:
        number = call.numbers[0] if call.numbers else 1
        if number not in supply.channels:
            known = ", ".join(str(channel) for channel in sorted(supply.channels))
            raise ScpiError(-114, f"ISUMmary{number} of {known}")
        return registers(supply)[supply.channels.index(number)]

    return find


TREE.add("STATus:PRESet", Command(lambda supply, call: supply.status.preset()))
_register_commands("STATus:QUEStionable", lambda supply, call: supply.status.questionable)
_register_commands("STATus:OPERation", lambda supply, call: supply.status.operation)
_register_commands(
    "STATus:QUEStionable:INSTrument:ISUMmary#", _of_output(lambda supply: supply.status.questionable_of)
)
_register_commands(
    "STATus:OPERation:INSTrument:ISUMmary#", _of_output(lambda supply: supply.status.operation_of)
)
