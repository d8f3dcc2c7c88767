"""What lies in the lead besides its resistance and inductance: a switch, a series diode, a fuse."""

from __future__ import annotations

import math

from railwright.compilation import compiled, inlined
from railwright.physics.layout import BLOCKED, BLOWN, DIODE, DROP, FUSE, OPENED, AnySystem, Array

OPENING = 1e-6
"""Time constant with which the current of a lead that is interrupted ends [s] (declared)."""

REST = 1e-9
"""Part of the source's voltage, and at least of 1 V, by which a diode that blocks must be driven beyond its
drop before it conducts again: at rest its current is zero and its voltage just the drop, and rounding would
have it block and conduct at every step.
"""


@compiled
def melting(current: float, h: float, fuse: Array) -> float:
    """dh/dt of a fuse at a current [A]: the reciprocal of its time at that current, straight lines between
    the curve's points in logarithms; below the least current of the curve it cools.
    """
    points = fuse.shape[0]
    amperes = abs(current)
    if amperes <= math.exp(fuse[0, 0]):
        cooling: float = -h / math.exp(fuse[0, 1])
        return cooling
    log = math.log(amperes)
    k = 0
    while k < points - 2 and log > fuse[k + 1, 0]:
        k += 1
    slope = (fuse[k + 1, 1] - fuse[k, 1]) / (fuse[k + 1, 0] - fuse[k, 0])
    return math.exp(-(fuse[k, 1] + slope * (log - fuse[k, 0])))


@inlined
def interrupted(system: AnySystem) -> bool:
    """Whether no current can flow in the lead."""
    return system.branch[OPENED] + system.branch[BLOCKED] + system.branch[BLOWN] > 0.0  # type: ignore[no-any-return]


@compiled
def path_region(y: Array, source: float, lead: int, connector: int, system: AnySystem) -> int:
    """What diode and fuse are about to do; source: voltage [V] at the supply's end.

    Bits: 1 the diode wants to block, 2 it wants to conduct, 4 the fuse opens, 8 the fuse heats up.
    """
    branch = system.branch
    bits = 0
    if branch[DIODE] == 1.0 and branch[OPENED] + branch[BLOWN] == 0.0:
        if branch[BLOCKED] == 1.0:
            if source - y[connector] > branch[DROP] + REST * max(1.0, abs(source)):
                bits += 2
        elif y[lead] < 0.0:
            bits += 1
    if branch[FUSE] == 1.0 and branch[BLOWN] == 0.0:
        if y[connector + 1] >= 1.0:
            bits += 4
        if abs(y[lead]) > math.exp(system.fuse[0, 0]):
            bits += 8
    return bits
