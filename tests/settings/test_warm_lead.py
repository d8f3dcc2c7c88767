"""A lead's resistance 'at most' is that of the lead as warm as its steady current makes it."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from scipy.optimize import brentq
from tests.said import figures
from tests.settings.station import Edit, of_rule, settled, station

from railwright.settings.context import sources_of

UNSENSED: Edit = (
    "procedure",
    "main:       {from: left.1, lead: silicone pair, sense: at load}",
    "main:       {from: left.1, lead: silicone pair, sense: at terminals}",
)
AMBIENT = 26.0


def warm(gauge: int, amperes: float) -> float:
    """Temperature of a conductor of an AWG gauge [°C]: Churchill and Chu, with the air's properties at their
    film temperature by power laws of the absolute temperature, and radiation.
    """
    bare = 0.127e-3 * 92 ** ((36 - gauge) / 39)
    outer = bare + 2 * min(0.8e-3, bare)

    def excess(celsius: float) -> float:
        film = (celsius + AMBIENT) / 2 + 273.15
        conductivity, viscosity = 0.0263 * (film / 300) ** 0.865, 1.846e-5 * (film / 300) ** 0.7
        kinematic = viscosity / (1.1614 * 300 / film)
        rayleigh = 9.81 / film * (celsius - AMBIENT) * outer**3 / (kinematic**2 / 0.707)
        nusselt = (0.6 + 0.387 * rayleigh ** (1 / 6) / (1 + (0.559 / 0.707) ** (9 / 16)) ** (8 / 27)) ** 2
        lost = nusselt * conductivity / outer * (celsius - AMBIENT)
        lost += 0.9 * 5.67e-8 * ((celsius + 273.15) ** 4 - (AMBIENT + 273.15) ** 4)
        per_metre = 1.7241e-8 * (1 + 0.00393 * (celsius - 20)) / (math.pi / 4 * bare**2)
        return amperes**2 * per_metre - math.pi * outer * lost

    return float(brentq(excess, AMBIENT + 1e-3, 400.0))


@pytest.mark.parametrize(
    ("gauge", "length", "amperes"),
    [(30, 0.6, 2.4), (28, 1.5, 2.0), (26, 1.2, 1.0), (18, 1.5, 0.6), (24, 3.0, 2.4)],
)
def test_the_drop_at_most_is_that_of_the_lead_that_its_current_has_warmed(
    gauge: int, length: float, amperes: float, tmp_path: Path
) -> None:
    edits = (
        UNSENSED,
        (
            "bench",
            "conductor: AWG 18, one_way_length: 1.5 m",
            f"conductor: AWG {gauge}, one_way_length: {length} m",
        ),
        ("device", "steady: 180 mA .. 600 mA", f"steady: 180 mA .. {amperes * 1e3:g} mA"),
    )
    celsius = warm(gauge, amperes)
    area = math.pi / 4 * (0.127e-3 * 92 ** ((36 - gauge) / 39)) ** 2
    ohms = 2 * length * 1.7241e-8 / area * (1 + 0.00393 * (celsius - 20)) + 8e-3
    sources, _ = sources_of(station(tmp_path, *edits))
    assert sources["main"].steady_drop == pytest.approx(ohms * amperes, rel=1e-2)
    cold = 2 * length * 1.7241e-8 / area * (1 + 0.00393 * (AMBIENT - 20)) + 8e-3
    assert sources["main"].resistance.high == pytest.approx(cold, rel=1e-6)
    found = [
        each
        for rule in ("lead-drop", "lead-drop-unsensed")
        for each in of_rule(settled(tmp_path, *edits), rule)
    ]
    for each in found:
        (said,) = [float(f.split()[0]) for f in figures(each.why) if f.endswith("mΩ")]
        assert said == pytest.approx(ohms * 1e3, rel=1e-2)
    assert found or gauge == 18
