"""Cases: one value for each uncertain quantity of the documents, picked by its name.

Names read `input.load.field`, such as `main.capacitor.capacitance` (`capacitor_2` for a second one), or
`main.lead.resistance` (a fixture's in it), or `main.fixture.drop`, or `left.1.limit_overshoot` for what a
data sheet leaves open.
"""

from __future__ import annotations

from collections.abc import Mapping

from railwright.physics.loads.law import Choose
from railwright.quantities import Uncertain

Case = Choose
"""(name, bounds) -> value, all in SI units."""


def nominal(name: str, value: Uncertain) -> float:
    """Every quantity at its nominal value."""
    return value.nominal


def low(name: str, value: Uncertain) -> float:
    """Every quantity at its lower bound."""
    return value.low


def high(name: str, value: Uncertain) -> float:
    """Every quantity at its upper bound."""
    return value.high


NOMINAL: Case = nominal
LOW: Case = low
HIGH: Case = high


def fixed(values: Mapping[str, float], otherwise: Case = NOMINAL) -> Case:
    """The case with these values, and another case's for what is not named. The values may lie outside the
    bounds.
    """

    def choose(name: str, value: Uncertain) -> float:
        return values[name] if name in values else otherwise(name, value)

    return choose
