"""How long outputs in series take to empty themselves and the capacitor of a load beside them.

Node equations of the outputs' capacitors C_k, their bleeders R_k and the currents S_k that they take in, and
of the load with its capacitor C_L:

    C_k dv_k/dt = i - v_k / R_k - S_k        i: from the load into the outputs, the same through all of them
    C_L dV/dt   = -i - I_L(V)                V = Σ v_k

An output that is empty lets the current of the others past, through its reverse diode (taken as ideal, which
is the slower case), and takes nothing in. Only of outputs with the same R_k C_k the series capacitance times
the sum of the bleeders is a time constant: of others the slowest decides, with its own.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

LEAST = 1e-10
"""Capacitance that an output, or a load, without a capacitor counts as having [F]."""

FADING = 1e-3
"""Voltage over which the current that an output takes in fades, in parts of what it begins at: without it the
equations would jump where an output is empty.
"""


def discharging_time(
    voltages: Sequence[float],
    farads: Sequence[float],
    ohms: Sequence[float],
    sunk: Sequence[float],
    beside: float,
    drawn: Callable[[float], float],
    until: float,
) -> float:
    """Time in which the sum of the outputs' voltages falls to `until` [s].

    Of each output, shape (n,): the voltage that it begins at [V], its capacitor [F], its bleeder [Ω] and the
    current that it takes in [A]. beside: the load's capacitor [F], above zero. drawn: (V [V]) -> its current
    [A], never negative. inf where the equations cannot be solved.
    """
    from scipy.integrate import solve_ivp

    begin = np.array(voltages, dtype=np.float64)
    inverse = 1.0 / np.maximum(np.array(farads, dtype=np.float64), LEAST)
    bleeders, sinks = np.array(ohms, dtype=np.float64), np.array(sunk, dtype=np.float64)

    def against_voltage(log_whole: float, y: NDArray[np.float64]) -> NDArray[np.float64]:
        """Slopes of voltages and time against ln V, which falls as long as any output holds a voltage."""
        whole, own = float(np.exp(log_whole)), np.maximum(y[:-1], 0.0)
        leaks = own / bleeders + sinks * np.minimum(1.0, own / (FADING * begin))
        draw = drawn(whole)
        push = float(leaks @ inverse) - draw / beside
        carries = (y[:-1] > 0.0) | (push > 0.0)
        through = push / (float(inverse[carries].sum()) + 1.0 / beside)
        falling = (through + draw) / beside / whole
        return np.append(np.where(carries, through - leaks, 0.0) * inverse, 1.0) / -falling

    whole = float(begin.sum())
    ends = (float(np.log(whole)), float(np.log(until)))
    found = solve_ivp(against_voltage, ends, np.append(begin, 0.0), "LSODA", rtol=1e-6, atol=1e-7 * whole)
    return float(found.y[-1, -1]) if found.success else math.inf
