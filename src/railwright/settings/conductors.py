"""Which conductor of a stock would do, and how warm one may get.

References
----------
.. [1] ISO 13732-1: a surface that is touched for a minute burns from 51 °C on, whatever it is made of (from
   memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import NamedTuple

from railwright.documents.bench import Lead, StockConductor
from railwright.documents.conductor import Conductor
from railwright.physics import conductors
from railwright.physics.conductor_heat import temperature_rise

TOUCHED = 51.0
"""Surface temperature from which touching for a minute burns [°C] [1]_."""
ASSUMED = (
    "each conductor by itself in still air, with up to 0.8 mm of insulation; bundled or covered it gets "
    "hotter"
)
"""What the temperature rests on, for people."""


class ConductorChoice(NamedTuple):
    """A conductor of a stock in place of a lead's: its drop both ways with contacts [V], its rise [K]."""

    conductor: Conductor
    drop: float
    rise: float


def loop_drop(conductor: Conductor, lead: Lead, current: float, ambient: float) -> float:
    """Drop of a lead made of a conductor, both ways with the lead's contacts [V], at a temperature [°C].

    With the maximum resistance of IEC 60228 where the conductor has a class.
    """
    contacts = lead.contact_resistance_loop.high if lead.contact_resistance_loop else 0.0
    return current * conductors.loop_resistance(
        conductor.section, lead.one_way_length, ambient, contacts, conductor.iec_class, bound="maximum"
    )


def recommend(
    stock: Iterable[StockConductor],
    lead: Lead,
    current: float,
    carries: float,
    ambient: float,
    permitted_drop: float,
    permitted_rise: float,
) -> ConductorChoice | None:
    """The thinnest conductor of a stock with which a lead of this length drops and warms no more than it may.

    current: steady [A], for drop and rise; carries: what the lead has to be permitted to carry [A], which is
    asked only of conductors whose permitted current is given. ambient: the highest [°C]. permitted_drop [V],
    permitted_rise [K]. None: none of them does.
    """
    carrying = (
        (each.conductor, temperature_rise(each.conductor.section, current, ambient, each.conductor.iec_class))
        for each in stock
        if each.permitted_current is None or each.permitted_current >= carries
    )
    cool = (
        ConductorChoice(conductor, loop_drop(conductor, lead, current, ambient + rise), rise)
        for conductor, rise in carrying
        if rise <= permitted_rise and math.isfinite(rise)
    )
    able = (choice for choice in cool if choice.drop <= permitted_drop)
    return min(able, key=lambda choice: choice.conductor.section, default=None)
