"""Common commands of IEEE 488.2-1992, chapter 10: by hand those that change more than the status, the others
as every twin has them.
"""

from __future__ import annotations

from railwright.scpi.errors import ScpiError
from railwright.twin.commands.tree import TREE, Call, Command
from railwright.twin.everyday import OF_STATUS, identification, on_status
from railwright.twin.supply import TwinSupply


def _clear(supply: TwinSupply, call: Call) -> None:
    supply.status.clear()
    supply.completion_asked = False


def _complete(supply: TwinSupply, call: Call) -> None:
    supply.completion_asked = True
    if not supply.busy:
        supply.completion_asked = False
        supply.status.standard_event |= 1


def _trigger(supply: TwinSupply, call: Call) -> None:
    if not supply.armed:
        raise ScpiError(-211, "nothing has been initiated")
    for channel in sorted(supply.armed):
        supply.fire(channel)
    supply.refresh()


TREE.add_all(
    {
        "*IDN?": Command(
            lambda supply, call: identification(supply.document, "Simulated supply", supply.token)
        ),
        "*RST": Command(lambda supply, call: supply.reset()),
        "*CLS": Command(_clear),
        "*OPC": Command(_complete),
        "*TRG": Command(_trigger),
        **{
            header: Command(on_status(run, lambda call: call.parameters), least=count, most=count)
            for header, (run, count) in OF_STATUS.items()
        },
    }
)
