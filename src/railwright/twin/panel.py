"""What one output of a supply has been told: its settings with their bounds, as the command tree sees
them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from railwright.documents.bench import Output
from railwright.quantities import Interval
from railwright.twin.truth import SystematicError

Bounds = tuple[float, float, float]
"""Lowest, highest and default value of a setting, SI units."""

LARGEST_COUNT = 1_000_000
LOW_RANGE = 0.5
"""Part of an output's highest voltage at which the low range ends, of those that have one."""


def _bounds(reach: Interval | None, *, highest: bool = False) -> Bounds:
    """Of a setting that the output has; the default is the lowest value, or the highest."""
    assert reach is not None
    return reach.low, reach.high, reach.high if highest else reach.low


@dataclass
class ListMemory:
    """A supply's own list of points [V] with their dwells [s], and how it runs."""

    voltages: list[float] = field(default_factory=list)
    dwells: list[float] = field(default_factory=list)
    count: float = 1.0
    lines: bool = False


@dataclass
class Panel:
    """Settings of one output, in SI units. Everything here is as asked, on the supply's grid; errors are the
    plant's.
    """

    name: str
    output: Output
    grid_voltage: SystematicError
    grid_current: SystematicError
    has_ranges: bool = False
    lists_by: Literal["points", "block", "file"] = "points"

    def __post_init__(self) -> None:
        self.reset()

    def reset(self) -> None:
        """As *RST leaves it: off, at the lowest voltage and current limit, protections at their widest."""
        self.on = False
        self.range = self.ranges[0]
        self.voltage = self.voltage_bounds[2]
        self.voltage_triggered = self.voltage
        self.current = self.current_bounds[2]
        self.rise = self.fall = self.slew_bounds[2] if self.output.slew else math.inf
        self.ovp = self.ovp_bounds[2] if self.output.ovp else math.inf
        self.ovp_enabled = self.output.ovp is not None
        self.trips_at_limit = False
        self.trip_delay = self.delay_bounds[2] if self.output.trip_delay else 0.0
        self.opp = self.opp_bounds[2] if self.output.opp else math.inf
        self.ocp = self.ocp_bounds[2] if self.output.ocp else math.inf
        self.opp_enabled = self.ocp_enabled = False
        self.ocp_delay = self.ocp_delay_bounds[2] if self.output.ocp and self.output.ocp.delay else 0.0
        self.external_sense = False
        self.follows: tuple[int, ...] = ()
        self.voltage_mode: Literal["FIX", "LIST"] = "FIX"
        self.trigger_source: Literal["IMM", "BUS"] = "IMM"
        self.points = ListMemory()

    @property
    def ranges(self) -> tuple[float, ...]:
        """Upper ends of its ranges [V], lowest first."""
        highest = self.output.voltage.high
        lower = max(LOW_RANGE * highest, self.output.voltage.low)
        return (lower, highest) if self.has_ranges else (highest,)

    @property
    def range_bounds(self) -> Bounds:
        """Voltages that a range can be asked for [V]; the default is the lowest range."""
        return self.output.voltage.low, self.ranges[-1], self.ranges[0]

    @property
    def voltage_bounds(self) -> Bounds:
        """Programmable voltage in its range [V]; the default is the lowest."""
        low, high, default = _bounds(self.output.voltage)
        return low, min(high, self.range), default

    @property
    def current_bounds(self) -> Bounds:
        """Programmable current limit [A]; the default is the lowest."""
        return _bounds(self.output.current)

    @property
    def slew_bounds(self) -> Bounds:
        """Programmable slew [V/s]; the default is the fastest."""
        return _bounds(self.output.slew, highest=True)

    @property
    def ovp_bounds(self) -> Bounds:
        """OVP level [V]; the default is the highest."""
        return _bounds(self.output.ovp.level if self.output.ovp else None, highest=True)

    @property
    def delay_bounds(self) -> Bounds:
        """Trip delay [s]; the default is the shortest."""
        return _bounds(self.output.trip_delay)

    @property
    def opp_bounds(self) -> Bounds:
        """Level of the over-power protection [W]; the default is the highest."""
        return _bounds(self.output.opp.level if self.output.opp else None, highest=True)

    @property
    def ocp_bounds(self) -> Bounds:
        """Level of the over-current protection [A]; the default is the highest."""
        return _bounds(self.output.ocp.level if self.output.ocp else None, highest=True)

    @property
    def ocp_delay_bounds(self) -> Bounds:
        """Delay of the over-current protection [s]; the default is the shortest."""
        return _bounds(self.output.ocp.delay if self.output.ocp else None)

    @property
    def dwell_bounds(self) -> Bounds:
        """Dwell of a point [s]; the default is the shortest."""
        return _bounds(self.output.points.dwell if self.output.points else None)
