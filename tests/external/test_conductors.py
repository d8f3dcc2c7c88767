"""Conductors against published wire tables and handbook equations."""

import math

import pytest
from scipy.optimize import brentq

from railwright.physics import conductors
from railwright.physics.conductor_heat import temperature_rise

# ASTM B258 (diameters), published wire tables at 20 °C: AWG, d [mm], A [mm²], R [Ω/km].
WIRE_TABLE = [
    (10, 2.588, 5.26, 3.28),
    (14, 1.628, 2.08, 8.28),
    (18, 1.024, 0.823, 20.95),
    (22, 0.644, 0.326, 52.96),
    (24, 0.511, 0.205, 84.2),
]


@pytest.mark.parametrize(("gauge", "diameter", "area", "resistance"), WIRE_TABLE)
def test_awg_rows_of_published_wire_tables(gauge, diameter, area, resistance):
    assert conductors.awg_diameter(gauge) * 1e3 == pytest.approx(diameter, abs=0.5e-3)
    assert conductors.awg_area(gauge) * 1e6 == pytest.approx(area, rel=2.5e-3)
    per_km = conductors.resistance_per_metre(conductors.awg_area(gauge)) * 1e3
    assert per_km == pytest.approx(resistance, rel=1.5e-3)


# IEC 60228, class 5 flexible copper, plain, maximum at 20 °C [Ω/km] (published tables).
@pytest.mark.parametrize(("section", "maximum"), [(0.5, 39.0), (0.75, 26.0), (1.5, 13.3), (4.0, 4.95)])
def test_iec_60228_class_5_rows(section, maximum):
    area = section * 1e-6
    assert conductors.maximum_resistance_per_metre(area, 5) * 1e3 == pytest.approx(maximum, rel=1e-12)
    geometric = conductors.resistance_per_metre(area) * 1e3
    assert geometric < maximum < 1.2 * geometric


def test_every_iec_60228_maximum_lies_above_the_geometric_value():
    # IEC 60228: the tabulated values are maxima. Its sections are nominal, so that solid 50 mm² is actually
    # less.
    for table in conductors.IEC_60228_MAXIMUM.values():
        for section, maximum in table.items():
            assert 1.0 < maximum / (conductors.resistance_per_metre(section * 1e-6) * 1e3) < 1.2


def test_copper_of_iec_60028():
    # IEC 60028, from memory: 1.7241e-8 Ω·m at 20 °C, 3.93e-3 per kelvin.
    assert conductors.resistivity(20.0) == pytest.approx(1.7241e-8, rel=1e-12)
    assert conductors.resistivity(120.0) / conductors.resistivity(20.0) == pytest.approx(1.393, rel=1e-12)


def test_onderdonk_fusing_equation():
    # Onderdonk, handbook, from memory: 33 (I/A)² S = log10((Tm - Ta)/(234 + Ta) + 1), A in circular mils.
    # AWG 10 has 10380 circular mils (published wire tables); for 1 s at Ta = 40 °C.
    expected = 10380 * math.sqrt(math.log10((1083 - 40) / (234 + 40) + 1) / 33)
    melts = conductors.onderdonk_fusing_i2t(conductors.awg_area(10), 40.0)
    assert math.sqrt(melts) == pytest.approx(expected, rel=1e-3)


def test_adiabatic_limit_of_insulated_copper():
    # IEC 60364-5-54, from memory: k = 115 A·s^0.5/mm² for PVC; 1.5 mm² bears (115 · 1.5)² = 29756 A²s.
    assert conductors.adiabatic_limit(1.5e-6) == pytest.approx(29756.25, rel=1e-12)


def test_insulation_fails_long_before_copper_melts():
    area = conductors.awg_area(18)
    assert conductors.adiabatic_limit(area) < conductors.onderdonk_fusing_i2t(area, 23.0) / 3


def test_inductance_of_two_parallel_wires():
    # Grover, from memory: L' = 0.4 µH/m (ln(2D/d) + 1/4); wires of 1 mm, 10 mm apart: 1.298 µH/m.
    assert conductors.pair_inductance_per_metre(1e-3, 10e-3) == pytest.approx(1.2983e-6, rel=1e-4)


# NEC, table of ampacities of single insulated copper conductors in free air at 30 °C (310.17 of 2017, from
# memory): AWG, amperes at which the conductor is at 60 °C, 75 °C and 90 °C.
FREE_AIR = [
    (14, 25, 30, 35),
    (12, 30, 35, 40),
    (10, 40, 50, 55),
    (8, 60, 70, 80),
    (6, 80, 95, 105),
    (4, 105, 125, 140),
    (2, 140, 170, 190),
]


@pytest.mark.parametrize(("gauge", "at_60", "at_75", "at_90"), FREE_AIR)
def test_temperature_rise_in_free_air_against_published_ampacities(gauge, at_60, at_75, at_90):
    """The table is rounded and on the safe side of what is computed for a conductor by itself."""
    for current, rise in ((at_60, 30.0), (at_75, 45.0), (at_90, 60.0)):
        computed = temperature_rise(conductors.awg_area(gauge), current, 30.0)
        assert 0.70 * rise < computed < 1.06 * rise


def test_adiabatic_limits_of_other_insulations_and_sections():
    # IEC 60364-5-54, from memory: k = 143 for cross-linked insulation; 2.5 mm² of PVC bears 287.5² A²s.
    assert conductors.adiabatic_limit(2.5e-6) == pytest.approx(82656.25, rel=1e-12)
    assert conductors.adiabatic_limit(2.5e-6, 143e6) == pytest.approx((143 * 2.5) ** 2, rel=1e-12)


@pytest.mark.parametrize(
    ("square_millimetres", "iec_class", "amperes"),
    [(0.5, 5, 5.0), (0.5, 2, 5.0), (1.0, 5, 10.17), (0.75, 6, 8.0), (2.5, 1, 20.0), (10.0, 5, 50.0)],
)
@pytest.mark.parametrize("ambient", [20.0, 40.0])
def test_a_conductor_with_a_class_warms_by_the_resistance_of_iec_60228(
    square_millimetres: float, iec_class: int, amperes: float, ambient: float
) -> None:
    """I² R(T) with the published maximum resistance (IEC 60228, tables) against the heat given off: Churchill
    and Chu 1975, air at 60 °C of engineers' tables (both from memory), as in the program. From outside are
    the resistance and scipy's solution.
    """
    published = {(0.5, 5): 39.0, (0.5, 2): 36.0, (1.0, 5): 19.5, (0.75, 6): 26.0, (2.5, 1): 7.41}
    per_metre = {**published, (10.0, 5): 1.91}[square_millimetres, iec_class] * 1e-3
    area = square_millimetres * 1e-6
    bare = 2.0 * math.sqrt(area / math.pi)
    outside = bare + 2.0 * min(0.8e-3, bare)

    def missing(rise: float) -> float:
        film = 273.15 + ambient + 0.5 * rise
        rayleigh = 9.81 * rise * outside**3 / (film * 1.90e-5 * 2.69e-5)
        nusselt = (0.60 + 0.387 * rayleigh ** (1 / 6) / (1 + (0.559 / 0.71) ** (9 / 16)) ** (8 / 27)) ** 2
        given_off = math.pi * outside * nusselt * 0.0285 / outside * rise
        given_off += (
            math.pi * outside * 0.9 * 5.670e-8 * ((273.15 + ambient + rise) ** 4 - (273.15 + ambient) ** 4)
        )
        return amperes**2 * per_metre * (1.0 + 3.93e-3 * (ambient + rise - 20.0)) - given_off

    true = brentq(missing, 1e-6, 390.0)
    assert temperature_rise(area, amperes, ambient, iec_class) == pytest.approx(true, rel=1e-6)
    # A conductor with a class warms more than its section alone would suggest.
    assert true > 1.01 * temperature_rise(area, amperes, ambient)
