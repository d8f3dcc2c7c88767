"""The state of an input's outputs over a record: trips, and what regulates, with the bounds of each
instant.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from railwright.traces import Mode

LIMITS = (Mode.CC, Mode.CP)
"""Modes in which an output does not hold its voltage."""


@dataclass(frozen=True, slots=True)
class Trip:
    """A trip of one of an input's outputs by itself: by which protection, and the bounds of its instant
    [s].
    """

    protection: str
    earliest: float
    latest: float


@dataclass(frozen=True, slots=True)
class ModeChange:
    """What regulates an input from an instant on, and the bounds of that instant [s]."""

    mode: Mode
    earliest: float
    latest: float


@dataclass(frozen=True, slots=True)
class SupplyStatus:
    """What is known of the state of an input's outputs, over the whole record, each in order of time.

    trips: of its outputs by themselves. went_off: when outputs were found off without a reason [s]. modes:
    what regulates from when on; None: the supply does not tell. gap: longest time in the step for which the
    status was not known [s]. arrived: when the last set point before the step, and the last one
    before its end, was reached [s]. delays: protection -> how long after that it may act though no mode shows
    it [s]. by: the protection that is asked about; None: any. least_limit: the lowest
    current that the current limit may hold in the step [A]; None: unknown. power: the least that an output
    gives [W]; None: as much as its voltage and current allow.
    """

    trips: tuple[Trip, ...] = ()
    went_off: tuple[float, ...] = ()
    modes: tuple[ModeChange, ...] | None = None
    gap: float = 0.0
    arrived: tuple[float, float] = (-math.inf, -math.inf)
    delays: Mapping[str, float] = field(default_factory=dict)
    by: str | None = None
    least_limit: float | None = None
    power: float | None = None

    def begun_before(self, trip: Trip, edge: int) -> bool:
        """Whether what led to a trip may have begun before an edge of the step, 0 its beginning or 1 its end:
        the last status before the trip shows a limit or is not known, or set points had just moved.
        """
        before = [each for each in self.modes or () if each.earliest < trip.earliest]
        ran = self.arrived[edge] + self.delays.get(trip.protection, 0.0)
        return not before or before[-1].mode in LIMITS or ran > trip.earliest
