"""What a command is, the tree they hang in, and the two shapes that most of them have: a number and a
switch.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from railwright.scpi.data import Datum
from railwright.scpi.errors import ScpiError
from railwright.scpi.headers import CommandTree
from railwright.scpi.numbers import format_nr3
from railwright.scpi.parameters import boolean, number_in, special_word
from railwright.twin.panel import Bounds, Panel
from railwright.twin.supply import TwinSupply


@dataclass(frozen=True, slots=True)
class Call:
    """A command being executed: its parameters without the channel list, the outputs it addresses (places in
    the document, 0 is the first), and the numbers its nodes carried.
    """

    parameters: tuple[Datum, ...]
    outputs: tuple[int, ...]
    numbers: tuple[int, ...]


@dataclass(frozen=True)
class Command:
    """What runs under a header. least, most: how many parameters it takes, the channel list not counted.

    takes_list: a parameter of its own may be a channel list. selecting: only a supply whose outputs are
    selected has it. units: of its answer's numbers, in turn; none where they have none. local: taken before
    SYSTem:REMote, by those that want it.
    """

    run: Callable[[TwinSupply, Call], str | None]
    per_output: bool = False
    least: int = 0
    most: int = 0
    takes_list: bool = False
    selecting: bool = False
    units: tuple[str, ...] = ()
    local: bool = False


TREE: CommandTree[Command] = CommandTree()


def on_outputs(
    pattern: str,
    change: Callable[[TwinSupply, int, Call], Callable[[], None]],
    *,
    least: int = 0,
    most: int = 0,
    takes_list: bool = False,
) -> None:
    """A command on outputs. `change` checks one output and gives what is to be done; all are checked before
    any is done.
    """

    def run(supply: TwinSupply, call: Call) -> None:
        for do in [change(supply, channel, call) for channel in call.outputs]:
            do()
        supply.refresh()

    TREE.add(pattern, Command(run, per_output=True, least=least, most=most, takes_list=takes_list))


def of_outputs(
    pattern: str,
    answer: Callable[[TwinSupply, int, Call], str],
    *,
    most: int = 0,
    units: tuple[str, ...] = (),
) -> None:
    """A query of outputs; the answers of several channels are parted by commas, in the order they were asked
    for. units: of the numbers of one.
    """

    def run(supply: TwinSupply, call: Call) -> str:
        return ",".join(answer(supply, channel, call) for channel in call.outputs)

    TREE.add(pattern, Command(run, per_output=True, most=most, units=units))


def number(
    pattern: str,
    unit: str,
    bounds: Callable[[Panel], Bounds],
    get: Callable[[Panel], float],
    put: Callable[[TwinSupply, int, float], None],
    *,
    has: Callable[[Panel], None] = lambda panel: None,
    may_change: Callable[[TwinSupply, int, float], None] = lambda supply, channel, value: None,
) -> None:
    """A numeric setting of an output with its query, which answers MIN, MAX and DEF too.

    has: raises where the output does not have the setting. may_change: raises while it cannot be changed to
    that.
    """

    def change(supply: TwinSupply, channel: int, call: Call) -> Callable[[], None]:
        panel = supply.panels[channel]
        has(panel)
        value = number_in(call.parameters[0], unit, *bounds(panel))
        may_change(supply, channel, value)
        return lambda: put(supply, channel, value)

    def answer(supply: TwinSupply, channel: int, call: Call) -> str:
        panel = supply.panels[channel]
        has(panel)
        if not call.parameters:
            return format_nr3(get(panel))
        if special_word(call.parameters[0]) is None:
            raise ScpiError(-141, "only MIN, MAX or DEF may follow")
        return format_nr3(number_in(call.parameters[0], unit, *bounds(panel)))

    on_outputs(pattern, change, least=1, most=1)
    of_outputs(pattern + "?", answer, most=1, units=(unit,))


def switch(
    pattern: str,
    get: Callable[[Panel], bool],
    put: Callable[[TwinSupply, int, bool], None],
    *,
    has: Callable[[Panel], None] = lambda panel: None,
    may_change: Callable[[TwinSupply, int, bool], None] = lambda supply, channel, on: None,
) -> None:
    """A boolean setting of an output with its query, answered 0 or 1."""

    def change(supply: TwinSupply, channel: int, call: Call) -> Callable[[], None]:
        has(supply.panels[channel])
        value = boolean(call.parameters[0])
        may_change(supply, channel, value)
        return lambda: put(supply, channel, value)

    def answer(supply: TwinSupply, channel: int, call: Call) -> str:
        has(supply.panels[channel])
        return str(int(get(supply.panels[channel])))

    on_outputs(pattern, change, least=1, most=1)
    of_outputs(pattern + "?", answer)


def kept(field: str, tell: Callable[[TwinSupply, Panel], None]) -> Callable[[TwinSupply, int, Any], None]:
    """What keeps a setting in that field of the panel, as it was given, and tells the plant of it."""

    def put(supply: TwinSupply, channel: int, value: Any) -> None:
        panel = supply.panels[channel]
        setattr(panel, field, value)
        tell(supply, panel)

    return put


def needs(part: Callable[[Panel], object], what: str) -> Callable[[Panel], None]:
    """A check that the output has something at all: -241 where its data sheet does not speak of it."""

    def check(panel: Panel) -> None:
        if part(panel) is None:
            raise ScpiError(-241, f"{panel.name} has no {what}")

    return check


def not_playing(supply: TwinSupply, channel: int) -> None:
    """-221 while the output plays its list or waits to."""
    if channel in supply.runs or channel in supply.armed:
        raise ScpiError(
            -221, f"{supply.panels[channel].name} plays its list or waits for its trigger; ABORt first"
        )
