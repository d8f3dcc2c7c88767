"""Static characteristics at an input's connector: what a source gives there, what a load draws at rest.

`operating_points.Static` looks for where the two meet. SI units.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from railwright.physics.circuit import Branch, Load
from railwright.physics.loads import inside, kind_of, labels_of
from railwright.traces import Mode

LATER = 1e6
"""A time after which every soft start is over [s]."""
CHANGES = 6
"""Largest number of discrete changes on a load's way to rest."""


@dataclass(frozen=True, slots=True)
class InputSource:
    """All outputs of one input as one source, with its lead, as it looks from the connector.

    voltage: set, at the place where it is sensed. limit: current limit of the whole. power: of the whole,
    at the terminals; inf: none. resistance [Ω]: loop of the lead. at_load: the voltage is sensed at the
    connector. drop [V]: of a diode in the lead; None: there is none. bleeder [Ω] and sink [A]: what takes
    current in while the load feeds back. capacitance [F]: of the outputs, charged through the same limit.
    rise [V/s]: of the set voltage. largest [A]: the highest limit that its outputs can be set to. inside
    [Ω], lost [V]: resistance and diode's drop of what lies inside the device; lost is None: no diode there.
    Voltages v are then those behind it, at the load.
    """

    voltage: float
    limit: float
    power: float = math.inf
    resistance: float = 0.0
    at_load: bool = False
    drop: float | None = None
    bleeder: float = math.inf
    sink: float = 0.0
    capacitance: float = 0.0
    rise: float = math.inf
    largest: float = math.inf
    inside: float = 0.0
    lost: float | None = None

    @property
    def blocks(self) -> bool:
        """Whether a diode keeps current from coming back."""
        return self.drop is not None or self.lost is not None

    @property
    def unsensed(self) -> tuple[float, float]:
        """Resistance [Ω] and drop [V] between the place where the voltage is sensed and the load."""
        if self.at_load:
            return self.inside, self.lost or 0.0
        return self.inside + self.resistance, (self.lost or 0.0) + (self.drop or 0.0)

    def connector(self, v: float, current: float) -> float:
        """Voltage at the connector [V]."""
        return v + self.inside * current + (self.lost or 0.0)

    def most(self, v: float) -> float:
        """Largest current at the connector voltage v [A]: the limit, or what the power limit leaves.

        The bleeder's current is part of the power: (i + u / R_b) u = P at the terminal voltage u = v + R i.
        """
        if self.power == math.inf:
            return self.limit
        ohms = self.resistance + self.inside
        above, part = v + (self.drop or 0.0) + (self.lost or 0.0), 1.0 + ohms / self.bleeder
        linear = above * (part + ohms / self.bleeder)
        left = self.power - above * above / self.bleeder
        root = math.sqrt(max(0.0, linear * linear + 4.0 * part * ohms * left))
        return self.limit if linear + root <= 0.0 else min(self.limit, 2.0 * left / (linear + root))

    def terminals(self, v: float, current: float) -> float:
        """Voltage at the terminals [V]."""
        return self.connector(v, current) + self.resistance * current + (self.drop or 0.0)

    def spare(self, v: float, drawn: float) -> tuple[float, Mode]:
        """How much more than `drawn` [A] the source would give at the connector voltage v, and in which mode.

        Positive: v rises; zero: an operating point. Its sign is that of the current that is left over, its
        size is relative to the set voltage in CV, and to the limit otherwise, so that a source without
        resistance has a finite slope too.
        """
        ohms, drop = self.unsensed
        lost = ohms * drawn + drop
        volts = (self.voltage - lost - v) / self.voltage
        most = self.most(v)
        amperes = (most - drawn) / self.limit
        takes = 0.0
        if not self.blocks:
            takes = (self.sink + v / self.bleeder) / (1.0 + (self.resistance + self.inside) / self.bleeder)
        back = (-takes - drawn) / self.limit
        if back > min(volts, amperes):
            return back, Mode.CV
        if volts <= amperes:
            return volts, Mode.CV
        return amperes, Mode.CC if most == self.limit else Mode.CP


def source_of(branch: Branch, voltage: float, limit: float, rise: float = math.inf) -> InputSource:
    """The source of a branch with its set voltage [V] and current limit [A], both of the whole.

    Outputs in series share the voltage, outputs in parallel the current, each by its full scale. Outputs in
    series with different limits count as one with the least of them.
    """
    stages = branch.stages
    series, parallel = branch.arrangement == "series", branch.arrangement == "parallel"
    volts = sum(stage.voltage_max for stage in stages)
    bleeders = [stage.bleeder for stage in stages]
    farads = [stage.capacitance for stage in stages]
    amperes = [stage.current_max for stage in stages]
    rises = [stage.rise for stage in stages]
    if series:
        power = min(stage.power * volts / stage.voltage_max for stage in stages)
        bleeder = sum(bleeders)
        # Each charges its own at its share of the rate; the one with the most to charge decides.
        capacitance = max(c * stage.voltage_max / volts for c, stage in zip(farads, stages, strict=True))
        own_rise = min(stage.rise * volts / stage.voltage_max for stage in stages)
    else:
        power = sum(stage.power for stage in stages)
        bleeder, capacitance = 1.0 / sum(1.0 / each for each in bleeders), sum(farads)
        own_rise = min(rises)
    sinks = [stage.sink for stage in stages]
    between = next((load for load in branch.loads if load.kind == inside.NAME), None)
    return InputSource(
        voltage=voltage,
        limit=limit,
        power=power,
        resistance=branch.lead.resistance,
        at_load=branch.sense == "load",
        drop=branch.lead.diode,
        bleeder=bleeder,
        sink=sum(sinks) if parallel else min(sinks),
        capacitance=capacitance,
        rise=min(rise, own_rise),
        largest=sum(amperes) if parallel else min(amperes),
        inside=between.values["resistance"] if between is not None else 0.0,
        lost=between.values["drop"] if between is not None and between.table[0] else None,
    )


class StaticLoad:
    """One load, once everything in it has come to rest at a fixed voltage.

    Where its module says what it draws in the end (`draws`), that is taken: the end that is farther from 0 A
    of what varies. Otherwise the rest of its own states is solved for; a state that finds none stays as it
    is at the start.

    starts_at, stops_at [V]: thresholds between which it keeps running or not, inf where it has none.
    """

    def __init__(self, load: Load, label: str) -> None:
        self.kind = kind_of(load.kind)
        self.label = label
        self.p = [*(float(load.values[name]) for name in self.kind.parameters), *load.table]
        self.gated = "starts" in self.kind.events and load.values.get("starts_at", 0.0) > 0.0
        self.starts_at = load.values["starts_at"] if self.gated else math.inf
        self.stops_at = load.values["stops_at"] if self.gated else -math.inf
        self.timed = self.gated and load.values.get("soft_start", 0.0) > 0.0
        self.capacitance = load.values["capacitance"] if load.kind == "capacitor" else 0.0
        self._current = self.kind.equation("current")
        self._draws = getattr(self.kind.equations, "draws", None)
        self._rest = lru_cache(maxsize=None)(self._at_rest)

    def current(self, v: float) -> float:
        """Current [A] at rest; of a load with thresholds: while it runs."""
        if self._draws is not None:
            least, greatest = self._draws(v, self.p)
            return float(greatest if greatest >= -least else least)
        if not self.kind.states:
            return float(self._current(v, LATER, self.p, (), self.flags(running=True)))
        states, q = self._rest(v)
        return float(self._current(v, LATER, self.p, states, q))

    def at(self, v: float, t: float, q: list[float]) -> float:
        """Current of a load without states at a time [s], with its discrete values q [A]."""
        return float(self._current(v, t, self.p, (), q))

    def flags(self, running: bool) -> list[float]:
        """Its discrete values; running: long after its start."""
        q = list(self.kind.flags_at_start)
        if running and self.gated:
            enter, region = self.kind.equation("enter"), self.kind.equation("region")
            for t in (0.0, LATER / 2, LATER):  # it starts, its soft start is over, nothing more
                enter(region(self.starts_at, t, self.p, (), q), t, self.p, q)
        return q

    def _at_rest(self, v: float) -> tuple[tuple[float, ...], list[float]]:
        """States at rest, and discrete values with which nothing changes any more."""
        from scipy.optimize import root

        law, region = self.kind.equation("derivatives"), self.kind.equation("region")
        y = np.zeros(len(self.kind.states))
        cold = self.kind.equation("at_start")(self.p)
        y[: len(cold)] = cold
        q = self.flags(running=True)

        def slope(states: NDArray[np.float64]) -> NDArray[np.float64]:
            dy = np.zeros_like(states)
            law(v, LATER, self.p, states, q, dy)
            return dy

        for _ in range(CHANGES):
            found = root(slope, y)
            # It may call what it found no success, where rounding keeps it from getting any nearer.
            nearer = np.abs(slope(found.x)).max() < np.abs(slope(y)).max()
            y = found.x if found.success or nearer else y
            before = list(q)
            self.kind.equation("enter")(region(v, LATER, self.p, y, q), LATER, self.p, q)
            if q == before:
                break
        return tuple(float(each) for each in y), q


def static_loads(branch: Branch) -> tuple[StaticLoad, ...]:
    """The loads of a branch, each with its label; what lies inside belongs to the source, see `source_of`."""
    loads = [load for load in branch.loads if load.kind != inside.NAME]
    labels = labels_of(load.kind for load in loads)
    return tuple(StaticLoad(load, label) for load, label in zip(loads, labels, strict=True))


Gates = Mapping[str, bool]
"""Label of each load that has thresholds -> whether it runs."""
