"""How warm a lead gets, and which conductor of a stock is recommended."""

from __future__ import annotations

import math

import pytest

from railwright.circuit.leads import most_resistance
from railwright.documents.bench import Lead, StockConductor
from railwright.documents.translate import validated
from railwright.physics import conductors as physics
from railwright.physics.conductor_heat import heat_given_off, temperature_rise
from railwright.settings.rules.leads import recommend

LEAD = validated(Lead, {"conductor": "AWG 24", "one_way_length": "3 m", "contact_resistance_loop": "10 mohm"})


def stock(*given: str) -> list[StockConductor]:
    rows = [text.partition(" at ") for text in given]
    return [
        validated(StockConductor, {"conductor": name} | ({"permitted_current": most} if most else {}))
        for name, _, most in rows
    ]


def chosen(given: list[StockConductor], **more: float) -> str:
    asked = {"current": 5.0, "carries": 6.0, "ambient": 26.0, "permitted_drop": 0.5, "permitted_rise": 30.0}
    choice = recommend(given, LEAD, **(asked | more))
    return choice.conductor.text if choice is not None else ""


def test_what_goes_in_as_current_comes_out_as_heat() -> None:
    area = physics.awg_area(18)
    rise = temperature_rise(area, 6.0, 23.0)
    made = 36.0 * physics.resistance_per_metre(area, 23.0 + rise)
    assert made == pytest.approx(
        heat_given_off(rise, physics.diameter_of_area(area) + 1.6e-3, 23.0), rel=1e-6
    )
    assert temperature_rise(area, 0.0, 23.0) == pytest.approx(0.0, abs=1e-9)
    assert temperature_rise(area, 3.0, 23.0) < rise / 3  # nearly with the square
    assert math.isinf(temperature_rise(area, 100.0, 23.0))


def test_the_thinnest_that_does_is_taken() -> None:
    given = stock("AWG 10", "AWG 14", "AWG 18")
    assert chosen(given) == "AWG 14"  # AWG 18 drops 5 A times 0.142 ohm
    assert chosen(given, permitted_drop=1.0) == "AWG 18"
    assert chosen(given, permitted_drop=0.25) == "AWG 10"
    assert chosen(given, permitted_drop=0.1) == ""


def test_what_it_may_carry_is_asked_where_it_is_given() -> None:
    assert chosen(stock("AWG 14 at 5 A", "AWG 10 at 20 A")) == "AWG 10"
    assert chosen(stock("AWG 14 at 6 A", "AWG 10 at 20 A")) == "AWG 14"


def test_heat_rules_out_what_the_drop_would_permit() -> None:
    assert chosen(stock("AWG 18", "AWG 10"), permitted_drop=9.0, current=12.0, permitted_rise=5.0) == "AWG 10"


def test_a_metric_conductor_drops_by_the_maximum_of_its_class() -> None:
    (metric,) = stock("0.5 mm2 class 5")
    # IEC 60228, class 5: 39.0 ohm/km at 20 °C; 6 m of it and 10 mohm at 1 A
    assert most_resistance(LEAD, metric.conductor, 20.0) == pytest.approx(6 * 39e-3 + 0.01, rel=1e-9)
