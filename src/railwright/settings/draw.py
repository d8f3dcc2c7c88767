"""What an input's load model draws from a steady voltage, as bounds over its tolerances."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

from railwright.documents.device import Input
from railwright.physics.loads import KINDS, LoadKind, LoadParameters
from railwright.physics.loads.capacitor import Capacitor
from railwright.physics.loads.converter import Converter
from railwright.quantities import Uncertain

THRESHOLDS = ("starts_at", "stops_at", "compliance")
_POINTS = 48


@dataclass(frozen=True, slots=True)
class Bounds:
    """Least and greatest of a figure, in SI units."""

    low: float
    high: float


def _corners(parameters: LoadParameters) -> Iterator[list[float]]:
    """Every combination of the ends of the parameters' tolerances, in the order of the model's fields."""
    choices: list[tuple[float, ...]] = []
    for name in type(parameters).model_fields:
        given = getattr(parameters, name)
        if isinstance(given, Uncertain):
            choices.append((given.low,) if given.certain else (given.low, given.high))
        elif given is None:
            choices.append((parameters.assumed[name][0],))
        else:
            choices.append((float(given),))
    return (list(corner) for corner in itertools.product(*choices))


def _one(kind: LoadKind, corner: list[float], voltage: float) -> float | None:
    """Steady current of one load [A]; None where the load's steady state is not known here."""
    if kind.model is Capacitor:
        return 0.0
    if kind.model is Converter:
        power, efficiency, _, stops_at, _ = corner
        return power / (efficiency * voltage) if voltage > stops_at else 0.0
    if kind.states:
        return None
    return float(kind.equations.current(voltage, 0.0, corner, [], list(kind.flags_at_start)))


def steady_current(wanted: Input, voltage: float) -> Bounds | None:
    """Current at the connector at a steady voltage [V], every part running as long as it can.

    A converter draws P / (η v) above its stopping voltage. None: a part's steady draw cannot be told without
    the rehearsal.
    """
    low = high = 0.0
    for entry in wanted.load:
        kind = KINDS[entry.kind]
        currents = [_one(kind, corner, voltage) for corner in _corners(entry.parameters)]
        known = [current for current in currents if current is not None]
        if len(known) < len(currents):
            return None
        low += min(known)
        high += max(known)
    return Bounds(low, high)


def _instants(wanted: Input, low: float, high: float) -> list[float]:
    """Voltages worth a look between two ends: a grid, and both sides of every threshold."""
    voltages = [low + (high - low) * index / _POINTS for index in range(_POINTS + 1)]
    for entry in wanted.load:
        for name, given in entry.parameters.uncertain().items():
            if name in THRESHOLDS:
                for value in (given.low, given.high):
                    voltages += [value, value * (1 + 1e-9)]
    return [voltage for voltage in voltages if low <= voltage <= high]


def current_over(wanted: Input, low: float, high: float) -> tuple[Bounds, float] | None:
    """Least and greatest steady current over a range of voltages [V], and the voltage of the greatest one."""
    least, greatest, where = float("inf"), float("-inf"), high
    for voltage in _instants(wanted, low, high):
        bounds = steady_current(wanted, voltage)
        if bounds is None:
            return None
        least = min(least, bounds.low)
        if bounds.high > greatest:
            greatest, where = bounds.high, voltage
    return Bounds(least, greatest), where


def capacitance(wanted: Input) -> Bounds:
    """Capacitance across the input [F]."""
    banks = [entry.parameters for entry in wanted.load if isinstance(entry.parameters, Capacitor)]
    return Bounds(sum(each.capacitance.low for each in banks), sum(each.capacitance.high for each in banks))


def charging_time(wanted: Input, extra: float, limit: float, start: float, stop: float) -> float | None:
    """Longest time in a current limit while the input rises from `start` to `stop` [V], in s.

    ∫ C dv / (I_limit - I_load(v)), with the largest capacitance (`extra` is the supply's own, which the same
    limit charges [F]) and the greatest draw of the load; for a load that draws I all the way it is C·V /
    (I_limit - I). A converter is counted as running from its lowest stopping voltage on, which is the slower
    case. Infinite where the limit cannot carry the load; None where the load's draw is not known.
    """
    most = capacitance(wanted).high + extra
    time, previous = 0.0, start
    grid = {start + (stop - start) * index / 100 for index in range(101)}
    for step in sorted(grid | set(_instants(wanted, start, stop))):
        if step == previous:
            continue
        drawn = steady_current(wanted, (previous + step) / 2)
        if drawn is None:
            return None
        if drawn.high >= limit:
            return float("inf")
        time += most * (step - previous) / (limit - drawn.high)
        previous = step
    return time


def converters(wanted: Input) -> list[Converter]:
    """The converters among an input's parts."""
    return [entry.parameters for entry in wanted.load if isinstance(entry.parameters, Converter)]
