"""Operating points: where the characteristics of source and load meet, and which of these points are stable.

A constant-power load against a current limit meets it at an unstable point. Below it the input falls to the
load's stopping voltage, recharges, and restarts for ever; where the load has a limit or a resistive region of
its own it may also stay at a stable point far below the set voltage. `start_up` says which of them it is.

Both characteristics are static. Stability is that of one node with capacitance, C dv/dt = i_source - i_load,
a point is stable where di_load/dv > di_source/dv [1]_. Whether an input filter rings there is another
question, and the rehearsal's.

References
----------
.. [1] Static stability of two characteristics, as in textbooks of electric drives and power electronics
   (common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from railwright.physics.characteristics import Gates, InputSource, StaticLoad
from railwright.traces import Mode

SCAN = 1500
"""Voltages at which the characteristics are compared before their meeting points are solved for."""


@dataclass(frozen=True, slots=True)
class OperatingPoint:
    """One meeting point of source and load.

    voltage [V] at the connector, current [A], terminals [V]; mode: of the source. running: labels of the
    loads with thresholds that run there. stable: False too where the two only touch.
    """

    voltage: float
    current: float
    terminals: float
    mode: Mode
    running: tuple[str, ...]
    stable: bool


class Static:
    """Source and load of one input, compared. ValueError where set voltage or limit is not above zero."""

    def __init__(self, source: InputSource, loads: Sequence[StaticLoad]) -> None:
        if not (source.voltage > 0.0 and source.limit > 0.0):
            raise ValueError(
                "operating points need a set voltage and a current limit above zero, got "
                f"{source.voltage} V and {source.limit} A"
            )
        self.source, self.loads = source, tuple(loads)
        self._met: dict[tuple[bool, ...], list[tuple[float, bool]]] = {}
        self.gated = [load for load in self.loads if load.gated]
        self.capacitance = source.capacitance + sum(load.capacitance for load in self.loads)

    def with_limit(self, limit: float) -> Static:
        """The same with another current limit [A]."""
        other = Static(replace(self.source, limit=limit), self.loads)
        other.__dict__["grid"] = self.grid  # what the loads draw does not depend on it
        return other

    @cached_property
    def grid(self) -> tuple[NDArray[np.float64], NDArray[np.float64], dict[str, NDArray[np.float64]]]:
        """Voltages, what the loads without thresholds draw there, and what each of the others does."""
        top = 1.02 * self.source.voltage
        while top < 8.0 * self.source.voltage and self.source.spare(top, self._always(top))[0] > 0.0:
            top *= 1.5
        edges = [edge for g in self.gated for edge in (g.starts_at, g.stops_at)]
        marks = [edge * side for edge in edges for side in (1.0, 1.0 + 1e-9)]
        inside = [mark for mark in marks if mark < top]
        volts = np.unique(np.concatenate((np.linspace(0.0, top, SCAN), inside)))
        always = np.array([self._always(v) for v in volts])
        return volts, always, {g.label: np.array([g.current(v) for v in volts]) for g in self.gated}

    def _always(self, v: float) -> float:
        return sum(load.current(v) for load in self.loads if not load.gated)

    def drawn(self, v: float, gates: Gates) -> float:
        """What the load draws at rest at a voltage [A]."""
        return self._always(v) + sum(g.current(v) for g in self.gated if gates[g.label])

    def spare(self, v: float, gates: Gates) -> float:
        """Above zero where the voltage rises; see `Source.spare`."""
        return self.source.spare(v, self.drawn(v, gates))[0]

    def range_of(self, gates: Gates) -> tuple[float, float]:
        """Voltages between which these loads can run and the others not [V]."""
        low = max((g.stops_at for g in self.gated if gates[g.label]), default=0.0)
        high = min((g.starts_at for g in self.gated if not gates[g.label]), default=math.inf)
        return low, high

    def meeting(self, gates: Gates) -> list[tuple[float, bool]]:
        """Voltages at which source and load meet, and whether each is stable, in order."""
        key = tuple(gates.values())
        if key not in self._met:
            self._met[key] = self._meet(gates)
        return self._met[key]

    def _meet(self, gates: Gates) -> list[tuple[float, bool]]:
        from scipy.optimize import brentq, minimize_scalar

        volts, always, each = self.grid
        low, high = self.range_of(gates)
        inside = (volts >= low * (1.0 + 1e-12)) & (volts <= high)
        if low > 0.0:
            inside &= volts > low
        v = volts[inside]
        total = always[inside] + sum(each[g.label][inside] for g in self.gated if gates[g.label])
        over = np.array([self.source.spare(*pair)[0] for pair in zip(v, total, strict=True)])
        found: list[tuple[float, bool]] = []
        for k in range(v.size - 1):
            if over[k] * over[k + 1] < 0.0:
                where = float(brentq(self.spare, v[k], v[k + 1], args=(gates,), xtol=1e-12))
                found.append((where, bool(over[k] > 0.0)))
            elif over[k] == 0.0 and k:
                found.append((float(v[k]), bool(over[k - 1] > 0.0 > over[k + 1])))
        for k in range(1, v.size - 1):  # a curve may touch the other, or cross it twice, between two voltages
            a, b, c = over[k - 1 : k + 2]
            if not (a * b > 0.0 and b * c > 0.0 and abs(b) <= min(abs(a), abs(c)) and abs(b) < 1e-2):
                continue
            sign = 1.0 if b > 0.0 else -1.0
            lowest = minimize_scalar(
                lambda x, s=sign: s * self.spare(x, gates), bounds=(v[k - 1], v[k + 1]), method="bounded",
                options={"xatol": 1e-12},
            )  # fmt: skip
            where, least = float(lowest.x), float(lowest.fun)
            if least < -1e-9:
                for start, end, falls in ((v[k - 1], where, sign > 0.0), (where, v[k + 1], sign < 0.0)):
                    found.append((float(brentq(self.spare, start, end, args=(gates,))), falls))
            elif least < 1e-9:
                found.append((where, False))
        return sorted(found)

    def point(self, v: float, gates: Gates, stable: bool) -> OperatingPoint:
        """Everything about a meeting point."""
        drawn = self.drawn(v, gates)
        mode = self.source.spare(v, drawn)[1]
        running = tuple(label for label, runs in gates.items() if runs)
        terminals = self.source.terminals(v, drawn)
        return OperatingPoint(self.source.connector(v, drawn), drawn, terminals, mode, running, stable)
