"""The state of an input's outputs over a record: trips, and what regulates, with the bounds of each
instant.
"""

from __future__ import annotations

from dataclasses import dataclass

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
    status was not known [s]. by: the protection that is asked about; None: any. least_limit: the lowest
    current that the current limit may hold in the step [A]; None: unknown. power: the least that an output
    gives [W]; None: as much as its voltage and current allow.
    """

    trips: tuple[Trip, ...] = ()
    went_off: tuple[float, ...] = ()
    modes: tuple[ModeChange, ...] | None = None
    gap: float = 0.0
    by: str | None = None
    least_limit: float | None = None
    power: float | None = None

    def limiting_before(self, trip: Trip) -> bool:
        """Whether the last status before a trip may have shown a limit, so that its delay was running."""
        before = [each for each in self.modes or () if each.earliest < trip.earliest]
        return not before or before[-1].mode in LIMITS
