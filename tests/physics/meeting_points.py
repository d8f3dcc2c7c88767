"""All operating points of an input: every set of loads that may run is tried."""

import itertools

from railwright.physics.characteristics import source_of, static_loads
from railwright.physics.circuit import Branch
from railwright.physics.operating_points import OperatingPoint, Static


def points_of(static: Static) -> tuple[OperatingPoint, ...]:
    """In order of voltage."""
    found = []
    for runs in itertools.product((False, True), repeat=len(static.gated)):
        gates = dict(zip((g.label for g in static.gated), runs, strict=True))
        found += [static.point(v, gates, stable) for v, stable in static.meeting(gates)]
    return tuple(sorted(found, key=lambda each: each.voltage))


def operating_points(branch: Branch, voltage: float, limit: float) -> tuple[OperatingPoint, ...]:
    """voltage [V], limit [A]: set, of the whole."""
    return points_of(Static(source_of(branch, voltage, limit), static_loads(branch)))
