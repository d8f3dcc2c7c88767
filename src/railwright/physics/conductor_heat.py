"""How warm a conductor gets at a steady current.

References
----------
.. [1] S. W. Churchill, H. H. S. Chu, Correlating equations for laminar and turbulent free convection from a
   horizontal cylinder, Int. J. Heat Mass Transfer 18, 1975 (from memory).
.. [2] Properties of air at 60 °C, engineers' tables (from memory).
"""

from __future__ import annotations

import math
from functools import lru_cache

from railwright.physics import conductors
from railwright.physics.halving import least

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
HOTTEST = 400.0
"""Rise beyond which nothing is worked out [K]: no insulation is left."""


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
def temperature_rise(section: float, current: float, ambient: float, iec_class: int | None = None) -> float:
    """How far a conductor gets above ambient [K] at a steady current; inf: by more than `HOTTEST`.

    section [m²], current [A], ambient [°C]. Where I² R(T), with the largest resistance that the conductor may
    have, equals the heat given off; the insulation's own drop of temperature is left out, so that its surface
    counts as warm as the conductor. ValueError where IEC 60228 has no such conductor.
    """
    bare = conductors.diameter_of_area(section)
    diameter = bare + 2 * min(INSULATION, bare)

    def excess(rise: float) -> float:
        ohms = conductors.largest_resistance_per_metre(section, iec_class, ambient + rise)
        return current**2 * ohms - heat_given_off(rise, diameter, ambient)

    if excess(HOTTEST) > 0.0:
        return math.inf
    # Halved so often that nothing is left of the interval.
    return least(lambda rise: excess(rise) <= 0.0, 0.0, HOTTEST, 60)
