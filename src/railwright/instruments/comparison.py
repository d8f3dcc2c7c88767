"""How far a queried setting may lie from what was asked: the instrument's grid, no more."""

from __future__ import annotations

from railwright.dialects.operation import Setting
from railwright.documents.bench import CurrentAccuracy, Output, VoltageAccuracy
from railwright.documents.figures import error_bound

UNKNOWN_RESOLUTION = 1e-3
"""Part of full scale allowed where the bench states neither a resolution nor an accuracy."""

DELAY_STEP = 1e-3
"""Grid of trip delays that is allowed for, data sheets seldom state it [s]."""

SLEW_PART = 0.01
"""Part of a slew allowed, data sheets seldom state its grid."""

RANGE_PART = 0.1
"""Part by which a range may end beyond the output's highest value: data sheets give ranges by their names."""

FORMAT = 1e-6
"""Part of a value allowed for the digits of the answer."""


def allowed_difference(output: Output, setting: Setting, value: float) -> float:
    """Largest difference between a set value and its query, in the setting's SI unit.

    A queried setting is the number the instrument took over, on its own grid: half a step away at most, and
    one step allows for truncation. Only where the grid is unknown does the programming accuracy stand in.
    """
    slack = FORMAT * abs(value) + 1e-12
    programming = output.programming
    match setting:
        case "voltage":
            return slack + _grid(programming.voltage if programming else None, value, output.voltage.high)
        case "current_limit" | "ocp":
            return slack + _grid(programming.current if programming else None, value, output.current.high)
        case "voltage_range" | "current_range":
            return slack + RANGE_PART * abs(value)
        case "ovp":
            known = output.ovp.accuracy if output.ovp else None
            return slack + (known if known is not None else UNKNOWN_RESOLUTION * output.voltage.high)
        case "opp":
            rated = output.power or output.voltage.high * output.current.high
            return slack + UNKNOWN_RESOLUTION * rated
        case "trip_delay" | "ocp_delay":
            return slack + max(DELAY_STEP, 0.01 * value)
        case _:
            return slack + SLEW_PART * abs(value)


def _grid(accuracy: VoltageAccuracy | CurrentAccuracy | None, value: float, full_scale: float) -> float:
    if accuracy is None:
        return UNKNOWN_RESOLUTION * full_scale
    if accuracy.resolution is not None:
        return accuracy.resolution
    return error_bound(accuracy, value) or UNKNOWN_RESOLUTION * full_scale
