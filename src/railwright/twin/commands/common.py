"""Common commands of IEEE 488.2-1992, chapter 10: by hand those that change more than the status, the others
as every twin has them.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from railwright.scpi.data import Datum
from railwright.scpi.errors import ScpiError
from railwright.twin.commands.tree import TREE, Call, Command
from railwright.twin.everyday import OF_STATUS, identification
from railwright.twin.registers import Status
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


def _of_status(
    run: Callable[[Status, tuple[Datum, ...]], str | None], supply: TwinSupply, call: Call
) -> str | None:
    return run(supply.status, call.parameters)


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
            header: Command(partial(_of_status, run), least=count, most=count)
            for header, (run, count) in OF_STATUS.items()
        },
    }
)
