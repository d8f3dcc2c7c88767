"""Over-voltage, over-power and over-current protection, tripping at the current limit, linked trips.

Not in SCPI-1999: CURRent:PROTection:DELay, OUTPut:PROTection:LINK (the standard has OUTPut:PROTection:DELay
for both protections, and no linked trips), OUTPut:PROTection:TEMPerature:TRIPped?, OUTPut:PROTection:CAUSe?
(a word for what tripped). CURRent:PROTection:STATe
is the standard's; here it says what happens at the current limit: ON trips after the delay, OFF regulates
(IVI-4.4: current limit behavior trip or regulate). So CURRent:PROTection:LEVel, the standard's level of an
over-current protection, has its switch and its delay below it, at LEVel:STATe and LEVel:DELay, which are not
in the standard.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from railwright.scpi.channels import format_channels
from railwright.scpi.data import Expression, Word, parse_channels
from railwright.scpi.errors import ScpiError
from railwright.twin import conflicts
from railwright.twin.commands.tree import Call, kept, needs, number, of_outputs, on_outputs, switch
from railwright.twin.panel import Panel
from railwright.twin.supply import TwinSupply

_HAS_OVP = needs(lambda panel: panel.output.ovp, "over-voltage protection")
_HAS_OPP = needs(lambda panel: panel.output.opp, "over-power protection")
_HAS_OCP = needs(lambda panel: panel.output.ocp, "over-current protection of its own")
_HAS_OCP_DELAY = needs(
    lambda panel: panel.output.ocp and panel.output.ocp.delay, "delay of its over-current protection"
)
_HAS_TRIP = needs(lambda panel: panel.output.trip_delay, "trip at its current limit")


def _tell_ovp(supply: TwinSupply, panel: Panel) -> None:
    supply.plant.set_ovp(panel.name, panel.ovp if panel.ovp_enabled else math.inf)


def _tell_levels(supply: TwinSupply, panel: Panel) -> None:
    supply.plant.set_opp(panel.name, panel.opp if panel.opp_enabled else math.inf)
    supply.plant.set_ocp(panel.name, panel.ocp if panel.ocp_enabled else math.inf, panel.ocp_delay)


def _tell_limit_action(supply: TwinSupply, panel: Panel) -> None:
    supply.plant.set_limit_action(panel.name, panel.trips_at_limit, panel.trip_delay)


def _clear(supply: TwinSupply, channel: int, call: Call) -> Callable[[], None]:
    panel = supply.panels[channel]

    def do() -> None:
        if supply.plant.tripped(panel.name):
            panel.on = False
            supply.plant.clear_trip(panel.name)

    return do


def _couple(supply: TwinSupply, channel: int, call: Call) -> Callable[[], None]:
    panel, given = supply.panels[channel], call.parameters[0]
    if isinstance(given, Word) and given.text.upper() == "NONE":
        sources: tuple[int, ...] = ()
    elif isinstance(given, Expression):
        sources = supply.outputs_of(parse_channels(given, supply.channels))
    else:
        raise ScpiError(-104, "a channel list such as (@1), or NONE")
    if channel in sources:
        raise ScpiError(-221, f"{panel.name} cannot follow itself")

    def do() -> None:
        panel.follows = sources
        supply.plant.follow(panel.name, frozenset(supply.panels[source].name for source in sources))

    return do


def _coupled(supply: TwinSupply, channel: int, call: Call) -> str:
    follows = supply.panels[channel].follows
    return format_channels(tuple(supply.channels[source] for source in follows)) if follows else "NONE"


def _tripped_by(cause: str) -> Callable[[TwinSupply, int, Call], str]:
    return lambda supply, channel, call: str(int(supply.plant.tripped(supply.panels[channel].name) == cause))


CAUSES = {
    "": "NONE",
    "OVP": "OVER",
    "current limit": "LIM",
    "linked": "LINK",
    "OPP": "POW",
    "OCP": "OCUR",
    "OTP": "HEAT",
}


def _cause(supply: TwinSupply, channel: int, call: Call) -> str:
    return CAUSES[supply.plant.tripped(supply.panels[channel].name)]


number(
    "[SOURce]:VOLTage:PROTection[:LEVel]",
    "V",
    lambda panel: panel.ovp_bounds,
    lambda panel: panel.ovp,
    kept("ovp", _tell_ovp),
    has=_HAS_OVP,
    may_change=conflicts.ovp,
)
switch(
    "[SOURce]:VOLTage:PROTection:STATe",
    lambda panel: panel.ovp_enabled,
    kept("ovp_enabled", _tell_ovp),
    has=_HAS_OVP,
    may_change=conflicts.ovp_on,
)
of_outputs("[SOURce]:VOLTage:PROTection:TRIPped?", _tripped_by("OVP"))
switch(
    "[SOURce]:CURRent:PROTection:STATe",
    lambda panel: panel.trips_at_limit,
    kept("trips_at_limit", _tell_limit_action),
    has=_HAS_TRIP,
)
number(
    "[SOURce]:CURRent:PROTection:DELay",
    "S",
    lambda panel: panel.delay_bounds,
    lambda panel: panel.trip_delay,
    kept("trip_delay", _tell_limit_action),
    has=_HAS_TRIP,
)
of_outputs("[SOURce]:CURRent:PROTection:TRIPped?", _tripped_by("current limit"))
number(
    "[SOURce]:POWer:PROTection[:LEVel]",
    "W",
    lambda panel: panel.opp_bounds,
    lambda panel: panel.opp,
    kept("opp", _tell_levels),
    has=_HAS_OPP,
)
switch(
    "[SOURce]:POWer:PROTection:STATe",
    lambda panel: panel.opp_enabled,
    kept("opp_enabled", _tell_levels),
    has=_HAS_OPP,
)
of_outputs("[SOURce]:POWer:PROTection:TRIPped?", _tripped_by("OPP"))
number(
    "[SOURce]:CURRent:PROTection[:LEVel]",
    "A",
    lambda panel: panel.ocp_bounds,
    lambda panel: panel.ocp,
    kept("ocp", _tell_levels),
    has=_HAS_OCP,
)
switch(
    "[SOURce]:CURRent:PROTection:LEVel:STATe",
    lambda panel: panel.ocp_enabled,
    kept("ocp_enabled", _tell_levels),
    has=_HAS_OCP,
)
number(
    "[SOURce]:CURRent:PROTection:LEVel:DELay",
    "S",
    lambda panel: panel.ocp_delay_bounds,
    lambda panel: panel.ocp_delay,
    kept("ocp_delay", _tell_levels),
    has=_HAS_OCP_DELAY,
)
of_outputs("[SOURce]:CURRent:PROTection:LEVel:TRIPped?", _tripped_by("OCP"))
of_outputs("OUTPut:PROTection:CAUSe?", _cause)
of_outputs("OUTPut:PROTection:TEMPerature:TRIPped?", _tripped_by("OTP"))
on_outputs("OUTPut:PROTection:CLEar", _clear)
on_outputs("OUTPut:PROTection:LINK", _couple, least=1, most=1, takes_list=True)
of_outputs("OUTPut:PROTection:LINK?", _coupled)
of_outputs("OUTPut:PROTection:LINK:TRIPped?", _tripped_by("linked"))
