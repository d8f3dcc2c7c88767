"""Measures: what can be required of an input, each computed from one step of a record with its uncertainty.

`railwright.measures.measure` says what a measure's file holds. Importing this package loads no numpy. A
further measure is announced with `register`.
"""

from __future__ import annotations

from railwright.measures.inrush_charge import inrush_charge
from railwright.measures.inrush_i2t import inrush_i2t
from railwright.measures.integral import charge, energy, mean_current, mean_power, mean_voltage
from railwright.measures.measure import Measure
from railwright.measures.peak import peak_current, peak_voltage
from railwright.measures.restarts import restarts
from railwright.measures.start_up_time import start_up_time
from railwright.measures.state_level import high_state_level, low_state_level
from railwright.measures.supply import time_out_of_cv, trip_time, trips
from railwright.measures.turning import turn_off_voltage, turn_on_voltage

MEASURES: dict[str, Measure] = {}
"""By the names that requirements use."""


def register(measure: Measure) -> None:
    """Announce a measure; before the first procedure that names it is read. ValueError where the name is
    taken.
    """
    if measure.name in MEASURES:
        raise ValueError(f"there is already a measure called '{measure.name}'")
    MEASURES[measure.name] = measure


for _measure in (
    peak_current,
    peak_voltage,
    mean_current,
    mean_voltage,
    mean_power,
    charge,
    energy,
    inrush_charge,
    inrush_i2t,
    turn_on_voltage,
    turn_off_voltage,
    start_up_time,
    restarts,
    high_state_level,
    low_state_level,
    trip_time,
    trips,
    time_out_of_cv,
):
    register(_measure)

__all__ = ["MEASURES", "Measure", "register"]
