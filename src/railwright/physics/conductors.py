"""Conductors of a lead: gauge, resistance, inductance of the pair, and what a fault current does to them.

SI units throughout: metres, square metres, ohms, henries, amperes, seconds; temperatures in °C.

References
----------
.. [1] IEC 60028, International standard of resistance for copper (from memory).
.. [2] ASTM B258, Standard nominal diameters of AWG sizes of solid round wires.
.. [3] IEC 60228, Conductors of insulated cables, maximum resistances at 20 °C (published tables).
.. [4] F. W. Grover, Inductance Calculations, 1946: two parallel round wires (from memory).
.. [5] Onderdonk's equation, as in electrical engineers' handbooks (from memory).
.. [6] IEC 60364-5-54, adiabatic equation of a protective conductor (from memory).
"""

from __future__ import annotations

import math
from typing import Literal

NODE_CAPACITANCE = 10e-9
"""Capacitance of wiring and plug across a connector [F]: makes its voltage a state whatever the loads are."""

RESISTIVITY_20C = 1.7241e-8
"""Resistivity of annealed copper at 20 °C [Ω·m] [1]_."""

TEMPERATURE_COEFFICIENT = 3.93e-3
"""Temperature coefficient of annealed copper's resistance, referred to 20 °C [1/K] [1]_."""

K_PVC_COPPER = 115e6
"""k of the adiabatic equation, PVC-insulated copper [A·√s/m²] (115 A·√s/mm²) [6]_."""

COPPER_MELTS_AT = 1083.0
"""Melting point of copper as Onderdonk's equation takes it [°C]."""

_CIRCULAR_MIL = math.pi / 4.0 * (25.4e-6) ** 2

_SOLID_AND_STRANDED = {
    0.5: 36.0, 0.75: 24.5, 1.0: 18.1, 1.5: 12.1, 2.5: 7.41, 4.0: 4.61, 6.0: 3.08, 10.0: 1.83, 16.0: 1.15,
    25.0: 0.727, 35.0: 0.524, 50.0: 0.387, 70.0: 0.268, 95.0: 0.193, 120.0: 0.153,
}  # fmt: skip
_FLEXIBLE = {
    0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30, 10.0: 1.91, 16.0: 1.21,
    25.0: 0.780, 35.0: 0.554, 50.0: 0.386, 70.0: 0.272, 95.0: 0.206, 120.0: 0.161,
}  # fmt: skip
IEC_60228_MAXIMUM = {1: _SOLID_AND_STRANDED, 2: _SOLID_AND_STRANDED, 5: _FLEXIBLE, 6: _FLEXIBLE}
"""Class -> nominal section [mm²] -> largest resistance of plain copper at 20 °C [Ω/km] [3]_."""


def awg_diameter(gauge: int) -> float:
    """Diameter of a solid round wire [m]: 0.127 mm · 92^((36 - n) / 39) [2]_."""
    return 0.127e-3 * math.pow(92.0, (36 - gauge) / 39.0)


def awg_area(gauge: int) -> float:
    """Section of a solid round wire [m²] [2]_."""
    return math.pi / 4.0 * awg_diameter(gauge) ** 2


def resistivity(temperature: float) -> float:
    """Resistivity of annealed copper [Ω·m] at a temperature [°C] [1]_."""
    return RESISTIVITY_20C * (1.0 + TEMPERATURE_COEFFICIENT * (temperature - 20.0))


def resistance_per_metre(area: float, temperature: float = 20.0) -> float:
    """Geometric resistance ρ(T) / A of one conductor of section `area` [m²], per metre [Ω/m]."""
    return resistivity(temperature) / area


def maximum_resistance_per_metre(area: float, iec_class: int, temperature: float = 20.0) -> float:
    """Largest resistance that IEC 60228 admits for a nominal section [m²], per metre [Ω/m] [3]_.

    ValueError where the class or the section is not in the table.
    """
    table = IEC_60228_MAXIMUM.get(iec_class)
    if table is None:
        raise ValueError(f"IEC 60228 has the classes 1, 2, 5 and 6, not {iec_class}")
    section = min(table, key=lambda nominal: abs(nominal - area * 1e6))
    if abs(section - area * 1e6) > 0.01 * section:
        raise ValueError(f"IEC 60228 class {iec_class} has no section of {area * 1e6:g} mm²")
    return table[section] * 1e-3 * (1.0 + TEMPERATURE_COEFFICIENT * (temperature - 20.0))


def largest_resistance_per_metre(area: float, iec_class: int | None, temperature: float) -> float:
    """The largest that a conductor may have, per metre [Ω/m]: by IEC 60228 where it has a class, else the
    geometric one. ValueError as of `maximum_resistance_per_metre`.
    """
    if iec_class is None:
        return resistance_per_metre(area, temperature)
    return maximum_resistance_per_metre(area, iec_class, temperature)


def loop_resistance(
    area: float,
    one_way_length: float,
    temperature: float = 20.0,
    contacts: float = 0.0,
    iec_class: int | None = None,
    bound: Literal["typical", "maximum"] = "typical",
) -> float:
    """Resistance of a lead's two conductors and its contacts [Ω].

    R(T) = ρ(T) · 2ℓ / A + contacts. `bound`: 'typical' takes the geometric value, 'maximum' the tabulated
    maximum of IEC 60228 where the conductor has a class (the geometric value where it has none).
    """
    if bound == "maximum":
        per_metre = largest_resistance_per_metre(area, iec_class, temperature)
    else:
        per_metre = resistance_per_metre(area, temperature)
    return 2.0 * one_way_length * per_metre + contacts


def pair_inductance_per_metre(wire_diameter: float, spacing: float) -> float:
    """Loop inductance of two parallel round wires, per metre of the pair [H/m] [4]_.

    μ₀/π · (ln(spacing / radius) + 1/4) at low frequency; `spacing` [m] is between the axes.
    ValueError where the wires would overlap.
    """
    if spacing < wire_diameter:
        raise ValueError(
            f"a spacing of {spacing:g} m is less than the wire's diameter of {wire_diameter:g} m"
        )
    return 4e-7 * (math.log(2.0 * spacing / wire_diameter) + 0.25)


def diameter_of_area(area: float) -> float:
    """Diameter of the round wire with this section [m]."""
    return math.sqrt(4.0 * area / math.pi)


def onderdonk_fusing_i2t(area: float, ambient: float) -> float:
    """I²t that melts a copper wire of section `area` [m²] without losing heat [A²·s] [5]_.

    33 (I/A)² t = log₁₀((T_melt - T_a) / (234 + T_a) + 1), A in circular mils.
    """
    mils = area / _CIRCULAR_MIL
    return math.log10((COPPER_MELTS_AT - ambient) / (234.0 + ambient) + 1.0) / 33.0 * mils**2


def adiabatic_limit(area: float, k: float = K_PVC_COPPER) -> float:
    """Largest I²t that a conductor's insulation survives, k²S² [A²·s]; `area` in m², `k` in A·√s/m² [6]_."""
    return (k * area) ** 2
