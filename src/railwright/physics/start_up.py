"""Which operating point a start from 0 V reaches, and the current limit that would free it where it does not.

The start is followed on one node: the capacitors of input and output together, the rise of the set voltage,
and the soft start of what starts; everything else in the loads is at rest at each voltage. Where nothing
depends on time any more the voltage moves to the next meeting point, or to the next threshold.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from railwright.physics.characteristics import source_of, static_loads
from railwright.physics.circuit import Branch
from railwright.physics.operating_points import OperatingPoint, Static
from railwright.quantities import show, state
from railwright.traces import Mode

NEAR = 0.02
"""Largest distance below the set voltage, in parts of it, at which a point in the limit counts as reached."""
AGAIN = 4
"""Starts from one and the same condition from which on it restarts for ever."""
LEAST_RESISTANCE = 1e-3
"""Resistance with which a source without one settles at its set voltage [Ω]."""
LEAST_CAPACITANCE = 1e-6
"""Capacitance of the node where no document gives one [F]."""
NARROW = 1.002
"""Ratio to which the current limit that frees a start is found."""

Outcome = Literal["reaches its point", "restarts for ever", "hangs low"]


@dataclass(frozen=True, slots=True)
class Start:
    """How a start from 0 V ends.

    point: where it comes to rest; None: it restarts. between: voltages between which it restarts [V].
    frees: the least current limit [A] with which it reaches its point; None: it does, or no limit of these
    outputs does it, or it was not looked for. surely: the least one with which it does so however slowly
    the voltage rises and however small the capacitors are. reason: in words, with figures.
    """

    outcome: Outcome
    point: OperatingPoint | None
    between: tuple[float, float] | None
    frees: float | None
    surely: float | None
    reason: str


def start_up(
    branch: Branch,
    voltage: float,
    limit: float,
    rise: float = math.inf,
    low: float | None = None,
    seek: bool = True,
) -> Start:
    """How the start of an input ends.

    voltage [V], limit [A]: set, of the whole. rise [V/s]: of the set voltage (inf: the output's own). low
    [V]: from this voltage on a point in the limit counts as reached, such as the end of the operating range
    (left out: 2 % below the set voltage). seek: look for the limits that free it too, which takes about
    twenty times as long. ValueError where voltage or limit is not above zero.
    """
    static = Static(source_of(branch, voltage, limit, rise), static_loads(branch))
    return start_of(static, (1.0 - NEAR) * voltage if low is None else low, seek)


def start_of(static: Static, low: float, seek: bool = True) -> Start:
    """The same of characteristics that are there."""
    point, between = _Climb(static).end()
    outcome = _outcome(point, low)
    if point is not None and outcome == "reaches its point":
        words = f"{show(point.voltage, 'V')} and {show(point.current, 'A')}, in {point.mode.name}"
        return Start(outcome, point, between, None, None, words)
    frees = _freeing(static, low, moving=True) if seek else None
    surely = _freeing(static, low, moving=False) if seek else None
    reason = _restarting(static, between, frees) if between else _hanging(static, point)
    return Start(outcome, point, between, frees, surely, reason)


def _outcome(point: OperatingPoint | None, low: float) -> Outcome:
    if point is None:
        return "restarts for ever"
    return "reaches its point" if point.mode == Mode.CV or point.voltage >= low else "hangs low"


def _freeing(static: Static, low: float, moving: bool) -> float | None:
    """Least limit from which on it reaches its point [A]; None: not even the outputs' largest does."""

    def frees(limit: float) -> bool:
        point, _ = _Climb(static.with_limit(limit), moving).end()
        return _outcome(point, low) == "reaches its point"

    least, most = static.source.limit, static.source.largest
    if most <= least or not frees(most):
        return None
    while most > NARROW * least:
        middle = math.sqrt(least * most)
        least, most = (least, middle) if frees(middle) else (middle, most)
    return most


def _restarting(static: Static, between: tuple[float, float], frees: float | None) -> str:
    """Why it restarts, with figures."""
    stops, starts = between
    runs = {g.label: g.starts_at <= starts * (1.0 + 1e-9) for g in static.gated}
    asked, most = static.drawn(starts, runs), static.source.most(starts)
    if asked <= most and frees is None:
        why = state(
            "at {needed} the lead loses {drop}, more than lies between its start and its stop",
            needed=(asked, "A"),
            drop=(static.source.resistance * asked, "V"),
        )
    else:
        why = state(
            "once started it asks for {needed} at {starts_at}, and {available} is there",
            needed=(asked, "A"),
            starts_at=(starts, "V"),
            available=(most, "A"),
        )
    return state("{why}; it falls to {stops_at}, stops, and starts again", why=why, stops_at=(stops, "V"))


def _hanging(static: Static, point: OperatingPoint | None) -> str:
    """Why it stays low, with figures."""
    assert point is not None, "what does not restart comes to rest"
    where = state(
        "it stays at {stays_at}, where it draws the {drawn} of the {of} limit",
        stays_at=(point.voltage, "V"),
        drawn=(point.current, "A"),
        of="power" if point.mode == Mode.CP else "current",
    )
    idle = [g.starts_at for g in static.gated if g.label not in point.running]
    if idle and point.voltage < min(idle):
        first = min(idle)
        asked = static.drawn(first, {g.label: g.label in point.running for g in static.gated})
        return state(
            "{where}; to start at {starts_at} it needs {needed}",
            where=where,
            starts_at=(first, "V"),
            needed=(asked, "A"),
        )
    runs = {g.label: g.label in point.running for g in static.gated}
    volts = static.grid[0]
    above = volts[(volts >= point.voltage) & (volts <= static.source.voltage)]
    most = max(static.drawn(float(v), runs) for v in above)
    return state(
        "{where}; on the way to {set_point} it asks for up to {needed}",
        where=where,
        set_point=(static.source.voltage, "V"),
        needed=(most, "A", 3),
    )


class _Climb:
    """A start from 0 V, followed on one node.

    moving: with capacitors, rise and soft starts. Otherwise the voltage rises infinitely slowly, and what
    starts asks for all it wants at once: what then reaches its point does so in any case.
    """

    def __init__(self, static: Static, moving: bool = True) -> None:
        self.static, self.moving = static, moving
        self.t, self.v = 0.0, 0.0
        self.ramp = static.source.voltage / static.source.rise if moving else 0.0
        self.q = {g.label: g.flags(running=False) for g in static.gated}
        self.gates = {g.label: False for g in static.gated}
        self.seen: dict[tuple[object, ...], int] = {}
        self.lowest, self.started_at = math.inf, 0.0

    def end(self) -> tuple[OperatingPoint | None, tuple[float, float] | None]:
        """Where it comes to rest, or None and the voltages between which it restarts."""
        while True:
            if self._switch():
                return None, (self.lowest, self.started_at)
            corner = self._corner()
            if corner < math.inf:
                self._move(corner)
                continue
            rest = self._settle()
            if rest is not None:
                return rest, None

    def _switch(self) -> bool:
        """Start and stop what is to; True where it starts again and again from the same condition."""
        for g in self.static.gated:
            if not g.timed or not self.moving:
                runs = self.gates[g.label]
                wanted = self.v > g.stops_at if runs else self.v >= g.starts_at
                changed = wanted != runs
            else:
                q, region, enter = self.q[g.label], g.kind.equation("region"), g.kind.equation("enter")
                happened = enter(region(self.v, self.t, g.p, (), q), self.t, g.p, q)
                wanted = self.gates[g.label]
                changed = bool(happened)
                if happened:
                    wanted = g.kind.events[happened - 1] == "starts"
            if not changed:
                continue
            self.gates[g.label] = wanted
            if not wanted:
                self.lowest = min(self.lowest, self.v)
            elif self.t >= self.ramp:
                self.started_at = self.v
                key = (g.label, *self.gates.values(), round(self.v, 3))
                self.seen[key] = self.seen.get(key, 0) + 1
                if self.seen[key] >= AGAIN:
                    return True
        return False

    def _corner(self) -> float:
        """The next instant at which time alone changes something [s]; inf: there is none."""
        if not self.moving:
            return math.inf
        corners = [self.ramp] if self.t < self.ramp else []
        for g in self.static.gated:
            if g.timed:
                corner = g.kind.equation("corner")(self.t, g.p, self.q[g.label])
                corners += [corner] if corner > self.t else []
        return min(corners, default=math.inf)

    def _load(self, t: float, v: float) -> float:
        volts, always, each = self.static.grid
        total = float(np.interp(v, volts, always))
        for g in self.static.gated:
            if g.timed:
                total += g.at(v, t, self.q[g.label])
            elif self.gates[g.label]:
                total += float(np.interp(v, volts, each[g.label]))
        return total

    def _move(self, until: float) -> None:
        """Follow C dv/dt to an instant, or to the first threshold on the way."""
        from scipy.integrate import solve_ivp

        source, farads = self.static.source, max(LEAST_CAPACITANCE, self.static.capacitance)
        ohms, lost = source.unsensed
        ohms = max(ohms, LEAST_RESISTANCE)

        def slope(t: float, y: NDArray[np.float64]) -> list[float]:
            v = float(y[0])
            wanted = (source.voltage * min(1.0, t / self.ramp) if self.ramp else source.voltage) - lost - v
            given = min(max(wanted / ohms, -source.sink - max(v, 0.0) / source.bleeder), source.most(v))
            return [(given - self._load(t, v)) / farads]

        edges = []
        for g in self.static.gated:
            waits = g.timed and g.kind.equation("corner")(self.t, g.p, self.q[g.label]) < math.inf
            runs = self.gates[g.label]
            if not runs and waits:
                continue
            edges.append(_Edge(g.stops_at if runs else g.starts_at, -1.0 if runs else 1.0))
        done = solve_ivp(
            slope, (self.t, until), [self.v], method="LSODA", events=edges or None, rtol=1e-6,
            atol=1e-6 * source.voltage,
        )  # fmt: skip
        self.t, self.v = float(done.t[-1]), float(done.y[0, -1])
        if done.status == 1:
            self.v = next(edge.level for edge, hits in zip(edges, done.t_events, strict=True) if hits.size)
        self.lowest = min(self.lowest, self.v) if self.seen else self.lowest

    def _settle(self) -> OperatingPoint | None:
        """Nothing depends on time now: the voltage moves to the next meeting point, or to a threshold."""
        static = self.static
        low, high = static.range_of(self.gates)
        spare = static.spare(self.v, self.gates)
        meeting = static.meeting(self.gates)
        at = next((m for m in meeting if abs(m[0] - self.v) < 1e-9 * static.source.voltage), None)
        if at is not None:
            return static.point(at[0], self.gates, at[1])
        if spare > 0.0:
            ahead = next((m for m in meeting if m[0] > self.v), None)
            if ahead is None:
                if math.isinf(high):
                    return static.point(self.v, self.gates, True)
                self.v = high
                return None
        else:
            ahead = next((m for m in reversed(meeting) if m[0] < self.v), None)
            if ahead is None:
                if low <= 0.0:
                    return static.point(0.0, self.gates, True)
                self.v = low
                return None
        return static.point(ahead[0], self.gates, ahead[1])


class _Edge:
    """A threshold that ends an integration; `direction` as `solve_ivp` wants it."""

    terminal = True

    def __init__(self, level: float, direction: float) -> None:
        self.level, self.direction = level, direction

    def __call__(self, t: float, y: NDArray[np.float64]) -> float:
        return float(y[0]) - self.level
