"""What lies inside a device between its connector and its loads: a fuse, a series diode, a choke.

A load to the connector, and the source of the loads behind it: its second state is the voltage behind, from
which they draw (`physics.equations`). No document names it as a load.

    with a choke   L di/dt = v - v_b - v_f - R i         0 while the diode blocks, or the fuse is open
    without        i = (v - v_b - v_f) / R               not below 0 behind a diode
    C_n dv_b/dt = i - sum of the currents behind
    dh/dt = 1 / t(i)               t: the fuse's time-current curve; it opens at h = 1
"""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
from typing import Annotated

from railwright.physics.conductors import NODE_CAPACITANCE
from railwright.physics.loads.law import LoadKind, LoadParameters
from railwright.quantities import Dimension, Uncertain

NAME = "inside"
RESISTANCE, INDUCTANCE, DROP, BLOCKS, POINTS, CURVE = range(6)
CURRENT, BEHIND, MELTING = range(3)
BLOCKED, BLOWN = range(2)
LEAST_RESISTANCE = 1e-3
"""What counts where nothing in series has more, so that a current follows from a voltage [Ω]
(declared).
"""
OPENING = 1e-6
"""Time constant with which a choke's current ends where diode or fuse interrupt it [s] (declared)."""
REST = 1e-6
"""Voltage by which a diode must be driven beyond its drop before it conducts again [V]: see
`physics.lead`.
"""


class InsideParameters(LoadParameters):
    """Its numbers in SI units. table: whether a diode blocks, the number of points of the fuse's curve, and
    those: ln of the current [A], ln of the time [s].
    """

    resistance: Annotated[Uncertain, Dimension("ohm", "uncertain", positive=True)]
    inductance: Annotated[Uncertain, Dimension("H", "uncertain", nonnegative=True)]
    drop: Annotated[Uncertain, Dimension("V", "uncertain", nonnegative=True)]
    blocks: bool = False
    curve: tuple[tuple[float, float], ...] = ()
    in_table = ("blocks", "curve")

    def table(self) -> tuple[float, ...]:
        points = [math.log(number) for point in self.curve for number in point]
        return (float(self.blocks), float(len(self.curve)), *points)


def through(v: float, p: list[float], y: list[float], q: list[float]) -> float:
    """Current without a choke, whatever a diode does [A]."""
    return (v - y[1] - p[2]) / p[0]


def current(v: float, t: float, p: list[float], y: list[float], q: list[float]) -> float:
    """Current into it [A]: y = current of the choke, voltage behind, melting."""
    if q[1] == 1.0:
        return 0.0
    if p[1] > 0.0:
        return y[0]
    if p[3] == 1.0 and q[0] == 1.0:
        return 0.0
    return through(v, p, y, q)


def opens_in(amperes: float, p: list[float]) -> float:
    """1 / t of the fuse at a current [1/s]: straight lines between the curve's points in logarithms, nothing
    below the least current.
    """
    points = int(p[4])
    if amperes <= math.exp(p[5]):
        return 0.0
    log = math.log(amperes)
    k = 0
    while k < points - 2 and log > p[5 + 2 * (k + 1)]:
        k += 1
    slope = (p[5 + 2 * k + 3] - p[5 + 2 * k + 1]) / (p[5 + 2 * k + 2] - p[5 + 2 * k])
    return math.exp(-(p[5 + 2 * k + 1] + slope * (log - p[5 + 2 * k])))


def derivatives(v: float, t: float, p: list[float], y: list[float], q: list[float], dy: list[float]) -> None:
    """As above; what the loads behind draw is taken off dv_b/dt where they are."""
    amperes = current(v, t, p, y, q)
    dy[0] = 0.0
    if p[1] > 0.0:
        if p[3] * q[0] + q[1] > 0.0:
            dy[0] = -y[0] / OPENING
        else:
            dy[0] = (v - y[1] - p[2] - p[0] * y[0]) / p[1]
    dy[1] = amperes / NODE_CAPACITANCE
    dy[2] = 0.0
    if p[4] > 0.0:
        heated = opens_in(abs(amperes), p)
        # It cools while no current flows that could open it.
        dy[2] = heated if heated > 0.0 else -y[2] / math.exp(p[6])


def region(v: float, t: float, p: list[float], y: list[float], q: list[float]) -> int:
    """Bits: 1 the diode blocks, or wants to; 2 the fuse is open, or wants to open; 4 it heats up."""
    bits = 0
    if q[1] == 1.0 or (p[4] > 0.0 and y[2] >= 1.0):
        bits += 2
    if p[3] == 1.0:
        if q[0] == 1.0:
            bits += 1 if v - y[1] <= p[2] + REST else 0
        elif p[1] > 0.0:
            bits += 1 if y[0] < 0.0 and v - y[1] <= p[2] + REST else 0
        else:
            bits += 1 if v - y[1] < p[2] else 0
    if p[4] > 0.0 and q[1] == 0.0 and abs(current(v, t, p, y, q)) > math.exp(p[5]):
        bits += 4
    return bits


def enter(region: int, t: float, p: list[float], q: list[float]) -> int:
    """Let the diode block or conduct, and the fuse open: 1, 2 and 3."""
    if region & 2 and q[1] == 0.0:
        q[1] = 1.0
        return 3
    blocks = 1.0 if region & 1 else 0.0
    if p[3] == 1.0 and q[0] != blocks:
        q[0] = blocks
        return 1 if blocks == 1.0 else 2
    return 0


def stored(p: list[float], y: list[float]) -> float:
    """½ L i² + ½ C_n v_b² [J]."""
    return 0.5 * p[1] * y[0] ** 2 + 0.5 * NODE_CAPACITANCE * y[1] ** 2


def draws(v: float, p: Sequence[float]) -> tuple[float, float]:
    """Nothing of its own [A]."""
    return 0.0, 0.0


KIND = LoadKind(
    NAME,
    InsideParameters,
    sys.modules[__name__],
    states=("current of the choke", "voltage behind", "melting of the fuse"),
    flags_at_start=(1.0, 0.0),
    events=("diode blocks", "diode conducts", "fuse opens"),
)
