"""The commands of the simulated supplies, written by hand; each module adds the headers of its part.

Headers are those of SCPI-1999 (and IEEE 488.2 for the common ones) unless a module's first lines say
otherwise. Nothing of them comes from the driver.
"""

from railwright.scpi.data import Datum, Expression, Number, Word, parse_channels
from railwright.scpi.errors import ScpiError
from railwright.scpi.grammar import Unit
from railwright.twin.commands import common, measure, points, protection, source, status, system
from railwright.twin.commands.spellings import tree_of
from railwright.twin.commands.tree import TREE, Call, Command
from railwright.twin.everyday import expect_count
from railwright.twin.supply import TwinSupply

__all__ = ["TREE", "common", "execute", "measure", "points", "protection", "source", "status", "system"]


def execute(supply: TwinSupply, unit: Unit) -> str | None:
    """Carry out one unit and give its answer, if it asks. Raises ScpiError; nothing has changed then."""
    dialect = supply.document.dialect
    command, numbers = tree_of(dialect.name, dialect.addressing).find(unit.nodes, unit.query)
    if command.selecting and not supply.selects:
        raise ScpiError(-113, unit.header)
    if not (unit.query or unit.common or command.local or supply.remote):
        raise ScpiError(-203, unit.header)
    parameters, outputs = _address(supply, command, unit.parameters, numbers)
    expect_count(parameters, command.least, command.most, unit.header)
    return command.run(supply, Call(parameters, outputs, numbers))


def _address(
    supply: TwinSupply, command: Command, parameters: tuple[Datum, ...], numbers: tuple[int, ...]
) -> tuple[tuple[Datum, ...], tuple[int, ...]]:
    """Parameters without the channel list, and the outputs that are meant."""
    if not command.per_output:
        return parameters, ()
    if supply.numbered:
        # A header without a number means the first (SCPI-1999 vol. 1, 6.2.5.2).
        number = numbers[0] if numbers else 1
        if number not in supply.channels:
            raise ScpiError(-114, f"{number} of {', '.join(str(each) for each in sorted(supply.channels))}")
        return parameters, (supply.channels.index(number),)
    if supply.selects:
        if any(isinstance(datum, Expression) for datum in parameters) and not command.takes_list:
            raise ScpiError(-108, "this supply is addressed by INSTrument:NSELect")
        return parameters, (supply.selected,)
    if supply.by_parameter:
        return parameters[1:], (_named(supply, parameters),)
    if parameters and isinstance(parameters[-1], Expression):
        return parameters[:-1], supply.outputs_of(parse_channels(parameters[-1], supply.channels))
    if len(supply.panels) == 1:
        return parameters, (0,)
    raise ScpiError(-109, f"a channel list such as (@{supply.channels[0]})")


def _named(supply: TwinSupply, parameters: tuple[Datum, ...]) -> int:
    """Place of the output that the first parameter names: by the name that the bench has for it, or by its
    number.
    """
    called = supply.document.dialect.called
    for place, channel in enumerate(supply.channels):
        name = called.replace("{channel}", str(channel)) if isinstance(called, str) else called.get(channel)
        match parameters[:1]:
            case (Word(text),) if text.upper() == (name or "").upper():
                return place
            case (Number(value, ""),) if name == f"{value:g}":
                return place
    raise ScpiError(-109 if not parameters else -224, "the name of an output comes first")
