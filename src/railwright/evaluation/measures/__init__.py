"""Measures: what can be required of an input, each computed from one step of a record with its uncertainty.

A measure is a function of a `View`. It returns a `Measured`, or raises `CannotMeasure` where the record does
not allow it, or `Beyond` where what it looks for did not happen up to a bound.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from railwright.evaluation.measures.integral import charge, energy, mean_current, mean_power, mean_voltage
from railwright.evaluation.measures.peak import peak_current, peak_voltage
from railwright.evaluation.measures.restarts import restarts
from railwright.evaluation.measures.start_up_time import start_up_time
from railwright.evaluation.measures.state_level import high_state_level, low_state_level
from railwright.evaluation.measures.turning import turn_off_voltage, turn_on_voltage
from railwright.evaluation.outcome import Measured
from railwright.evaluation.signal import View

MEASURES: Mapping[str, Callable[[View], Measured]] = {
    "peak_current": peak_current,
    "peak_voltage": peak_voltage,
    "mean_current": mean_current,
    "mean_voltage": mean_voltage,
    "mean_power": mean_power,
    "charge": charge,
    "energy": energy,
    "turn_on_voltage": turn_on_voltage,
    "turn_off_voltage": turn_off_voltage,
    "start_up_time": start_up_time,
    "restarts": restarts,
    "high_state_level": high_state_level,
    "low_state_level": low_state_level,
}
"""By the names that requirements use."""

__all__ = ["MEASURES"]
