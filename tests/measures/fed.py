"""A converter behind a capacitor, on a supply with a limit that cannot sink: worked out in small steps of
time from C dv/dt = i - P/v. Below its set point the supply gives its limit, at it what the load draws, up to
its limit, above it nothing (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

import numpy as np
from tests.measures.scene import MODEL, Scene, view

from railwright.measures.level_change import LevelChange
from railwright.measures.signal import View
from railwright.traces import Mode, Traces

TICK = 2e-5
LEVEL = 1e-9
"""Above its set point by less, the capacitor is at it [V]."""


Course = Sequence[tuple[float, float]]
"""Values from an instant on [s, V or A], the first of them from the beginning."""


@dataclass(frozen=True)
class Load:
    """A converter behind a capacitor: what it draws [W], from which voltage on and down to which [V], and how
    long it takes to draw all of it [s]. currents: drawn instead, each for a tenth of a second, again and
    again [A].
    """

    power: float
    starts: float
    stops: float
    farads: float
    soft: float = 0.0
    currents: tuple[float, ...] = ()

    def draws(self, volts: float, time: float, ran: float) -> float:
        """What it draws at a voltage, so long after it came on [A]."""
        if self.currents:
            return self.currents[int((time + 10.0) / 0.1) % len(self.currents)]
        return self.power / volts * (min(1.0, ran / self.soft) if self.soft else 1.0)


@dataclass(frozen=True)
class Fed:
    """What became of it: the scene, the supply's status at each instant, and when the load stopped [s]."""

    load: Load
    scene: Scene
    modes: np.ndarray
    stopped: tuple[float, ...]
    course: Course = ()
    limits: Course = ()

    def stops_in(self, start: float, end: float) -> int:
        return sum(start <= each < end for each in self.stopped)

    def read(
        self, seed: int, start: float, end: float, *, update: float, every: float, jitter: float = 0.0
    ) -> View:
        """Readings over 0.8 of an update, with the status at each poll."""
        model = replace(MODEL, update=update, aperture=0.8 * update)
        traces = self.scene.read(seed, model, every, jitter)
        rows = np.searchsorted(self.scene.time, traces.time) - 1
        whole = Traces(traces.time, {**traces.columns, "mode": self.modes[rows]})
        own = self.load
        return replace(
            view(whole, model, start, end),
            restart=own.soft or None,
            stops_at=(0.97 * own.stops, 1.03 * own.stops),
            starts_at=0.97 * own.starts,
            course=tuple(LevelChange(at, low, high) for (_, low), (at, high) in pairwise(self.course)),
            limits_moved=tuple(at for at, _ in self.limits[1:]),
            capacitance=(0.9 * own.farads, 1.1 * own.farads),
            least_running=tuple((volts, min(own.currents)) for volts in (1.0, 50.0)) if own.currents else (),
        )


def fed(load: Load, volts: Course, limits: Course, end: float, at: float | None = None) -> Fed:
    """From -0.3 s on; at: the voltage then, at which the load runs; None: the set point."""
    return _fed(load, tuple(volts), tuple(limits), end, at)


@lru_cache(32)  # the same scene is read with other intervals
def _fed(load: Load, volts: Course, limits: Course, end: float, at: float | None) -> Fed:
    time = np.arange(-0.3, end, TICK)
    wanted, bounds = _course(volts, time), _course(limits, time)
    across, amps, modes = np.empty(time.size), np.empty(time.size), np.empty(time.size)
    at = float(wanted[0]) if at is None else at
    running, ran = at > load.stops, load.soft
    stopped = []
    # As plain floats, which are the same numbers: one by one numpy's take longer.
    courses = zip(time.tolist(), wanted.tolist(), bounds.tolist(), strict=True)
    for place, (now, goal, limit) in enumerate(courses):
        ran = ran + TICK if running else 0.0
        draws = load.draws(at, now, ran) if running else 0.0
        holds = at >= goal and draws <= limit
        gives = (draws if at <= goal + LEVEL else 0.0) if holds else limit
        after = at + TICK * (gives - draws) / load.farads
        at = min(goal, after) if at <= goal else max(goal, after)
        goes_on = at > (load.stops if running else load.starts)
        if running and not goes_on:
            stopped.append(now)
        running = goes_on
        across[place], amps[place], modes[place] = at, gives, Mode.CV if holds else Mode.CC
    return Fed(load, Scene(time, across, amps), modes, tuple(stopped), volts, limits)


def _course(values: Course, time: np.ndarray) -> np.ndarray:
    starts = np.array([each for each, _ in values])
    levels = np.array([each for _, each in values])
    return levels[np.maximum(0, np.searchsorted(starts, time, side="right") - 1)]
