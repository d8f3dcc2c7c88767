"""What an input's load model draws from a steady voltage, as bounds over its tolerances."""

from __future__ import annotations

import bisect
import itertools
from collections.abc import Iterator
from dataclasses import dataclass

from railwright.documents.device import Input
from railwright.documents.fixture import Fixture
from railwright.physics.loads import KINDS, LoadKind, LoadParameters
from railwright.physics.loads.capacitor import Capacitor
from railwright.physics.loads.converter import Converter
from railwright.quantities import Uncertain

THRESHOLDS = ("starts_at", "stops_at", "compliance")
_LOOKS = 48
_NEAR = 1e-6
_NEAR_ZERO = 1e-3  # V; what lies nearer to zero is looked at as this far from it
"""Relative distance of two voltages whose currents give a slope."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """Least and greatest of a figure, in SI units."""

    low: float
    high: float


def _corners(parameters: LoadParameters) -> Iterator[list[float]]:
    """Every combination of the ends of the parameters' tolerances, in the order of the model's fields."""
    choices: list[tuple[float, ...]] = []
    for name in parameters.scalars():
        given = getattr(parameters, name)
        if isinstance(given, Uncertain):
            choices.append((given.low,) if given.certain else (given.low, given.high))
        elif given is None:
            choices.append((parameters.assumed[name][0],))
        else:
            choices.append((float(given),))
    return ([*corner, *parameters.table()] for corner in itertools.product(*choices))


@dataclass(frozen=True, slots=True)
class _Part:
    """One part of a load that draws a steady current, at every corner of its tolerances."""

    kind: LoadKind
    corners: tuple[list[float], ...]

    def current(self, voltage: float) -> Bounds:
        """Current [A] once it has settled, where its module says so with `draws`; else as its law has it."""
        draws = getattr(self.kind.equations, "draws", None)
        if draws is not None:
            found = [draws(voltage, corner) for corner in self.corners]
            return Bounds(min(low for low, _ in found), max(high for _, high in found))
        law, flags = self.kind.equations.current, list(self.kind.flags_at_start)
        currents = [float(law(voltage, 0.0, corner, [], flags)) for corner in self.corners]
        return Bounds(min(currents), max(currents))


class LoadModel:
    """The load of one input, with a capacitor that a fixture adds to it.

    known: False where a part's steady draw needs a rehearsal to be told. settled: False where a part draws
    another current until it has settled (a lamp, a motor), so that only a rehearsal tells how long an input
    takes to charge.
    """

    def __init__(self, wanted: Input, fixture: Fixture | None = None) -> None:
        self.known = self.settled = True
        self.converters: list[Converter] = []
        self._parts: list[_Part] = []
        self._marks: list[float] = []
        self._seen: dict[float, Bounds] = {}
        banks: list[Capacitor] = []
        for entry in wanted.load:
            parameters, kind = entry.parameters, KINDS[entry.kind]
            if isinstance(parameters, Capacitor):
                banks.append(parameters)
                continue
            if kind.states:
                self.settled = False
                if not hasattr(kind.equations, "draws"):
                    self.known = False
                    continue
            if isinstance(parameters, Converter):
                self.converters.append(parameters)
            self._parts.append(_Part(kind, tuple(_corners(parameters))))
            self._marks += [mark for knee in parameters.knees() for mark in (knee, knee * (1 + 1e-9))]
            for name, given in parameters.uncertain().items():
                if name in THRESHOLDS:
                    self._marks += [given.low, given.low * (1 + 1e-9), given.high, given.high * (1 + 1e-9)]
        added = fixture.capacitor if fixture else None
        capacities = [bank.capacitance for bank in banks] + ([added.capacitance] if added else [])
        self.capacitance = Bounds(sum(each.low for each in capacities), sum(each.high for each in capacities))

    def current(self, voltage: float) -> Bounds | None:
        """Current at the connector at a steady voltage [V], every part running as long as it can."""
        if not self.known:
            return None
        seen = self._seen.get(voltage)
        if seen is None:
            currents = [part.current(voltage) for part in self._parts]
            seen = Bounds(sum(each.low for each in currents), sum(each.high for each in currents))
            self._seen[voltage] = seen
        return seen

    @property
    def just_above_stopping(self) -> list[tuple[float, float]]:
        """Of each converter the lowest voltage at which it may stop [V], and the greatest current that the
        whole load draws just above it [A].
        """
        stops = [converter.stops_at.low for converter in self.converters]
        found = [(volts, self.current(volts * (1 + 1e-9))) for volts in stops]
        return [(volts, drawn.high) for volts, drawn in found if drawn is not None]

    def _looks(self, low: float, high: float) -> list[float]:
        """Voltages worth a look between two ends: a grid, and both sides of every threshold."""
        grid = {low + (high - low) * index / _LOOKS for index in range(_LOOKS + 1)}
        return sorted(grid | {mark for mark in self._marks if low <= mark <= high})

    def over(self, low: float, high: float) -> tuple[Bounds, float] | None:
        """Least and greatest steady current over a range of voltages [V], and the voltage of the greatest."""
        least, greatest, where = float("inf"), float("-inf"), high
        for voltage in self._looks(low, high):
            bounds = self.current(voltage)
            if bounds is None:
                return None
            least = min(least, bounds.low)
            if bounds.high > greatest:
                greatest, where = bounds.high, voltage
        return Bounds(least, greatest), where

    def falls(self, low: float, high: float) -> tuple[float, float] | None:
        """How steeply its greatest current falls at most between two voltages [V]: -di/dv [S], and where.

        Zero or less where it never falls; None where it is not known.
        """
        steepest, where = float("-inf"), high
        for voltage in self._looks(low, high):
            step = _NEAR * max(abs(voltage), _NEAR_ZERO)
            here, above = self.current(voltage), self.current(voltage + step)
            if here is None or above is None:
                return None
            slope = (here.high - above.high) / step
            if slope > steepest:
                steepest, where = slope, voltage
        return steepest, where

    def charging_time(
        self, extra: float, limit: float, start: float, stop: float, ahead: float = 0.0
    ) -> float | None:
        """Longest time in a current limit while the input rises from `start` to `stop` [V], in s.

        ∫ C dv / (I_limit - I_load(v)), with the largest capacitance (`extra` is the supply's own, which the
        same limit charges [F]) and the greatest draw of the load; for a load that draws I all the way it is
        C·V / (I_limit - I). A converter is counted as running from its lowest stopping voltage on, which is
        the slower case. ahead: part of what is still to rise by which the voltage may be there already, while
        an output in series is still charging; the greatest draw up to there counts. Infinite where the limit
        cannot carry the load; None where the load's draw is not known, or not while it settles.
        """
        if not self.settled:
            return None
        most = self.capacitance.high + extra
        time, draws, looks = 0.0, list[float](), list(itertools.pairwise(self._looks(start, stop)))
        for before, after in looks:
            drawn = self.current((before + after) / 2)
            if drawn is None:
                return None
            draws.append(drawn.high)
        if max(draws, default=0.0) >= limit:
            return float("inf")
        for place, (before, after) in enumerate(looks):
            top = after + ahead * (stop - after)
            reach = bisect.bisect_left(looks, top, place + 1, key=lambda look: look[0])
            time += most * (after - before) / (limit - max(draws[place:reach]))
        return time
