"""Set points, slew, sensing and the output switch.

Not in SCPI-1999: VOLTage:SLEW[:RISing] and :SLEW:FALLing (the standard has one SLEW without a direction),
OUTPut:REGulation? (what regulates an output: CV, CC, CP or OFF), SYSTem:OUTPut:STATe (a switch over all
outputs beside their own; of those families that have it). VOLTage:ALC:SOURce is the standard's:
INTernal regulates at the terminals, EXTernal at the sense leads.
"""

from __future__ import annotations

from collections.abc import Callable

from railwright.scpi.errors import ScpiError
from railwright.scpi.parameters import boolean, choice
from railwright.twin import conflicts
from railwright.twin.commands.tree import (
    TREE,
    Call,
    Command,
    kept,
    needs,
    not_playing,
    number,
    of_outputs,
    on_outputs,
    switch,
)
from railwright.twin.panel import Panel
from railwright.twin.supply import TwinSupply


def _put_voltage(supply: TwinSupply, channel: int, value: float) -> None:
    panel = supply.panels[channel]
    before, panel.voltage = panel.voltage, panel.grid_voltage.on_grid(value)
    panel.voltage_triggered = panel.voltage
    supply.plant.set_voltage(panel.name, panel.voltage)
    supply.take_along(channel, "voltage", before)


def _may_voltage(supply: TwinSupply, channel: int, value: float) -> None:
    not_playing(supply, channel)
    conflicts.voltage(supply, channel, value)


def _put_range(supply: TwinSupply, channel: int, value: float) -> None:
    panel = supply.panels[channel]
    panel.range = next(each for each in panel.ranges if each >= value - 1e-9)


def _put_triggered(supply: TwinSupply, channel: int, value: float) -> None:
    panel = supply.panels[channel]
    panel.voltage_triggered = panel.grid_voltage.on_grid(value)


def _put_current(supply: TwinSupply, channel: int, value: float) -> None:
    panel = supply.panels[channel]
    before, panel.current = panel.current, panel.grid_current.on_grid(value)
    supply.plant.set_current(panel.name, panel.current)
    supply.take_along(channel, "current_limit", before)


def _tell_slew(supply: TwinSupply, panel: Panel) -> None:
    supply.plant.set_slew(panel.name, panel.rise, panel.fall)


_HAS_SLEW = needs(lambda panel: panel.output.slew, "programmable slew")
_HAS_RANGES = needs(lambda panel: panel.has_ranges or None, "ranges")
_HAS_SENSE = needs(lambda panel: panel.output.sense, "remote sense")


def _change_sense(supply: TwinSupply, channel: int, call: Call) -> Callable[[], None]:
    panel = supply.panels[channel]
    _HAS_SENSE(panel)
    external = choice(call.parameters[0], "INTernal", "EXTernal") == "EXT"
    if panel.on and external != panel.external_sense:
        raise ScpiError(-221, f"{panel.name} is on; sensing changes only while it is off")

    def do() -> None:
        panel.external_sense = external
        supply.plant.set_sense(panel.name, external)

    return do


def _sense(supply: TwinSupply, channel: int, call: Call) -> str:
    _HAS_SENSE(supply.panels[channel])
    return "EXT" if supply.panels[channel].external_sense else "INT"


def _regulates(supply: TwinSupply, channel: int, call: Call) -> str:
    mode = supply.plant.mode(supply.panels[channel].name)
    return mode.name if mode.name in ("CV", "CC", "CP") else "OFF"


def _has_master(supply: TwinSupply) -> None:
    if not supply.family.master:
        raise ScpiError(-113, "SYSTem:OUTPut[:STATe]")


def _put_master(supply: TwinSupply, call: Call) -> None:
    _has_master(supply)
    supply.switch_master(boolean(call.parameters[0]))
    supply.refresh()


def _master(supply: TwinSupply, call: Call) -> str:
    _has_master(supply)
    return str(int(supply.master))


def _may_switch(supply: TwinSupply, channel: int, on: bool) -> None:
    """-221 while a trip has not been cleared."""
    name = supply.panels[channel].name
    if on and (tripped := supply.plant.tripped(name)):
        raise ScpiError(-221, f"{name} is tripped ({tripped}); OUTPut:PROTection:CLEar first")


number(
    "[SOURce]:VOLTage[:LEVel][:IMMediate][:AMPLitude]",
    "V",
    lambda panel: panel.voltage_bounds,
    lambda panel: panel.voltage,
    _put_voltage,
    may_change=_may_voltage,
)
number(
    "[SOURce]:VOLTage:RANGe[:UPPer]",
    "V",
    lambda panel: panel.range_bounds,
    lambda panel: panel.range,
    _put_range,
    has=_HAS_RANGES,
    may_change=conflicts.range_end,
)
number(
    "[SOURce]:VOLTage[:LEVel]:TRIGgered[:AMPLitude]",
    "V",
    lambda panel: panel.voltage_bounds,
    lambda panel: panel.voltage_triggered,
    _put_triggered,
)
number(
    "[SOURce]:CURRent[:LEVel][:IMMediate][:AMPLitude]",
    "A",
    lambda panel: panel.current_bounds,
    lambda panel: panel.current,
    _put_current,
    may_change=conflicts.limit,
)
number(
    "[SOURce]:VOLTage:SLEW[:RISing]",
    "V/S",
    lambda panel: panel.slew_bounds,
    lambda panel: panel.rise,
    kept("rise", _tell_slew),
    has=_HAS_SLEW,
)
number(
    "[SOURce]:VOLTage:SLEW:FALLing",
    "V/S",
    lambda panel: panel.slew_bounds,
    lambda panel: panel.fall,
    kept("fall", _tell_slew),
    has=_HAS_SLEW,
)
switch(
    "OUTPut[:STATe]",
    lambda panel: panel.on,
    lambda supply, channel, on: supply.switch(channel, on),
    may_change=_may_switch,
)
of_outputs("OUTPut:REGulation?", _regulates)
TREE.add("SYSTem:OUTPut[:STATe]", Command(_put_master, least=1, most=1))
TREE.add("SYSTem:OUTPut[:STATe]?", Command(_master))
on_outputs("[SOURce]:VOLTage:ALC[:SOURce]", _change_sense, least=1, most=1)
of_outputs("[SOURce]:VOLTage:ALC[:SOURce]?", _sense)
