"""What a person does at the front panel of a simulated supply: settings that its commands do not make."""

from __future__ import annotations

from collections.abc import Mapping

from railwright.scpi.data import Datum, Number, Word
from railwright.scpi.errors import ScpiError
from railwright.scpi.headers import parse_pattern
from railwright.twin.commands.tree import TREE, Call
from railwright.twin.supply import TwinSupply

KNOBS: Mapping[str, str] = {
    "ovp": "[SOURce]:VOLTage:PROTection[:LEVel]",
    "ovp_on": "[SOURce]:VOLTage:PROTection:STATe",
    "trip_at_limit": "[SOURce]:CURRent:PROTection:STATe",
    "trip_delay": "[SOURce]:CURRent:PROTection:DELay",
    "opp": "[SOURce]:POWer:PROTection[:LEVel]",
    "opp_on": "[SOURce]:POWer:PROTection:STATe",
    "ocp": "[SOURce]:CURRent:PROTection[:LEVel]",
    "ocp_on": "[SOURce]:CURRent:PROTection:LEVel:STATe",
    "ocp_delay": "[SOURce]:CURRent:PROTection:LEVel:DELay",
    "slew_rising": "[SOURce]:VOLTage:SLEW[:RISing]",
    "slew_falling": "[SOURce]:VOLTage:SLEW:FALLing",
    "sense": "[SOURce]:VOLTage:ALC[:SOURce]",
}
"""A setting -> the twin's own command that does what its knob or switch does."""


def set_at_panel(supply: TwinSupply, output: str, setting: str, value: float | bool | str) -> bool:
    """Turn a knob of one output, by its name in the document; whether it goes there."""
    nodes, _ = parse_pattern(KNOBS[setting])
    command, _ = TREE.find(tuple(node.long for node in nodes if not node.optional), False)
    place = next(n for n, panel in enumerate(supply.panels) if panel.name == f"{supply.name}.{output}")
    try:
        command.run(supply, Call((_datum(value),), (place,), ()))
    except ScpiError:
        return False
    return True


def _datum(value: float | bool | str) -> Datum:
    if isinstance(value, bool):
        return Word("ON" if value else "OFF")
    if isinstance(value, str):
        return Word("EXTernal" if value == "at load" else "INTernal")
    return Number(float(value))
