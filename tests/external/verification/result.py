"""What every judge turns out, and what is compared: traces, events, energies."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Result:
    """Outcome of one computation of a circuit.

    time [s], never decreasing; voltages [V] and currents [A]: trace name -> values. events: (what, time [s])
    in order of time, without those at the very start. energies: name -> joules. scheduled: instants of set
    points and load steps [s], the same for all.
    """

    time: Array
    voltages: Mapping[str, Array]
    currents: Mapping[str, Array]
    events: tuple[tuple[str, float], ...]
    energies: Mapping[str, float]
    scheduled: tuple[float, ...] = ()


def product(time: Array, a: Array, b: Array) -> float:
    """∫ a b dt, exact for straight lines between the rows (both of which may be long ramps)."""
    one = a[:-1] * b[:-1] + a[1:] * b[1:]
    across = a[:-1] * b[1:] + a[1:] * b[:-1]
    return float(np.sum(np.diff(time) * (2.0 * one + across)) / 6.0)


def energies_of(
    name: str, time: Array, terminals: Array, connector: Array, current: Array
) -> dict[str, float]:
    """Energy out of the terminals and into the connector [J], of straight lines between the rows."""
    return {
        f"{name}: out of the terminals": product(time, terminals, current),
        f"{name}: into the connector": product(time, connector, current),
    }
