"""How warm a lead's conductor gets, and which conductor of a stock would do.

References
----------
.. [1] S. W. Churchill, H. H. S. Chu, Correlating equations for laminar and turbulent free convection from a
   horizontal cylinder, Int. J. Heat Mass Transfer 18, 1975 (from memory).
.. [2] Properties of air at 60 °C, engineers' tables (from memory).
.. [3] ISO 13732-1: a surface that is touched for a minute burns from 51 °C on, whatever it is made of (from
   memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from railwright.documents.bench import Lead, StockConductor
from railwright.documents.conductor import Conductor
from railwright.physics import conductors
from railwright.settings import figures

INSULATION = 0.8e-3
"""Thickness of a conductor's insulation at most [m]; a thin conductor's is as thick as the conductor itself
(assumed; common practice, no source).
"""
EMISSIVITY = 0.9
"""Of the insulation's surface (engineers' tables, from memory)."""
STEFAN_BOLTZMANN = 5.670e-8
AIR_CONDUCTIVITY, AIR_VISCOSITY, AIR_DIFFUSIVITY, AIR_PRANDTL = 0.0285, 1.90e-5, 2.69e-5, 0.71
"""Of air at 60 °C: W/(m·K), m²/s, m²/s, 1 [2]_."""
GRAVITY = 9.81

TOUCHED = 51.0
"""Surface temperature from which touching for a minute burns [°C] [3]_."""
HOTTEST = 400.0
"""Rise beyond which nothing is worked out [K]: no insulation is left."""
ASSUMED = (
    "each conductor by itself in still air, with up to 0.8 mm of insulation; bundled or covered it gets "
    "hotter"
)
"""What the temperature rests on, for people."""


def heat_given_off(rise: float, diameter: float, ambient: float) -> float:
    """Heat that a horizontal cylinder gives off to still air, per metre [W/m].

    rise: of its surface above ambient [K]; diameter [m]; ambient [°C]. Free convection
    Nu = (0.60 + 0.387 Ra^(1/6) / (1 + (0.559/Pr)^(9/16))^(8/27))² [1]_, and radiation to a room at ambient.
    """
    if rise <= 0.0:
        return 0.0
    film = ambient + rise / 2 + 273.15
    rayleigh = GRAVITY * rise * diameter**3 / (film * AIR_VISCOSITY * AIR_DIFFUSIVITY)
    shape = (1.0 + (0.559 / AIR_PRANDTL) ** (9 / 16)) ** (8 / 27)
    nusselt = (0.60 + 0.387 * rayleigh ** (1 / 6) / shape) ** 2
    convection = nusselt * AIR_CONDUCTIVITY / diameter * rise
    cold, warm = ambient + 273.15, ambient + rise + 273.15
    radiation = EMISSIVITY * STEFAN_BOLTZMANN * (warm**4 - cold**4)
    return float(math.pi * diameter * (convection + radiation))


@lru_cache(maxsize=4096)  # a hook-up asks for each lead over and over
def temperature_rise(section: float, current: float, ambient: float) -> float:
    """How far a conductor gets above ambient [K] at a steady current; inf: by more than `HOTTEST`.

    section [m²], current [A], ambient [°C]. Where I² R(T) equals the heat given off; the insulation's own
    drop of temperature is left out, so that its surface counts as warm as the conductor.
    """
    bare = conductors.diameter_of_area(section)
    diameter = bare + 2 * min(INSULATION, bare)

    def excess(rise: float) -> float:
        made = current**2 * conductors.resistance_per_metre(section, ambient + rise)
        return made - heat_given_off(rise, diameter, ambient)

    if excess(HOTTEST) > 0.0:
        return math.inf
    # Halved so often that nothing is left of the interval.
    return figures.least(lambda rise: excess(rise) <= 0.0, 0.0, HOTTEST, 60)


@dataclass(frozen=True, slots=True)
class ConductorChoice:
    """A conductor of a stock in place of a lead's: its drop both ways with contacts [V], its rise [K]."""

    conductor: Conductor
    drop: float
    rise: float


def loop_drop(conductor: Conductor, lead: Lead, current: float, ambient: float) -> float:
    """Drop of a lead made of a conductor, both ways with the lead's contacts [V], at a temperature [°C].

    With the maximum resistance of IEC 60228 where the conductor has a class.
    """
    contacts = lead.contact_resistance_loop.high if lead.contact_resistance_loop else 0.0
    section, length = conductor.section, lead.one_way_length
    return current * conductors.loop_resistance(
        section, length, ambient, contacts, conductor.iec_class, bound="maximum"
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
    able = []
    for each in stock:
        if each.permitted_current is not None and each.permitted_current < carries:
            continue
        rise = temperature_rise(each.conductor.section, current, ambient)
        if math.isinf(rise) or rise > permitted_rise:
            continue
        drop = loop_drop(each.conductor, lead, current, ambient + rise)
        if drop <= permitted_drop:
            able.append(ConductorChoice(each.conductor, drop, rise))
    return min(able, key=lambda choice: choice.conductor.section, default=None)
