"""Captures whose truth is known: what was there, and what an oscilloscope made of it."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Capture:
    """Samples at `time` (n,) [s] of `truth` with noise, rounded to `grid`: `value` (n,) [V].

    edges: when the truth jumps, from what, to what. noise: r.m.s. [V].
    """

    name: str
    truth: Callable[[Array], Array]
    edges: tuple[tuple[float, float, float], ...]
    time: Array
    value: Array
    noise: float

    @property
    def duration(self) -> float:
        return float(self.time[-1])

    def rms(self, played: Callable[[Array], Array], points: int = 200_000) -> float:
        """R.m.s. of what is played less the truth, edges that come half a sample early or late left out."""
        fine = np.linspace(0.0, self.duration, points)
        interval = float(np.median(np.diff(self.time)))
        for at, _, _ in self.edges:
            fine = fine[np.abs(fine - at) > 1.01 * interval]
        return float(np.sqrt(np.mean((played(fine) - self.truth(fine)) ** 2)))

    def latest(self, played: Callable[[Array], Array], points: int = 400_000) -> float:
        """Farthest that half of an edge's height is passed from the edge, nearest to it [s]; inf: never."""
        fine = np.linspace(0.0, self.duration, points)
        told, worst = played(fine), 0.0
        for at, before, after in self.edges:
            up = (told - 0.5 * (before + after)) * np.sign(after - before)
            passes = np.flatnonzero((up[:-1] < 0.0) & (up[1:] >= 0.0))
            worst = max(worst, float(np.abs(fine[passes] - at).min(initial=np.inf)))
        return worst


def levels(
    start: float, *edges: tuple[float, float]
) -> tuple[Callable[[Array], Array], list[tuple[float, float, float]]]:
    """Levels held one after the other: the first, and (from when on, to which)."""
    times = np.array([time for time, _ in edges])
    values = np.array([start, *(value for _, value in edges)])

    def truth(at: Array) -> Array:
        return values[np.searchsorted(times, at + 1e-12, side="right")]

    return truth, [
        (time, float(a), float(b))
        for (time, _), (a, b) in zip(edges, itertools.pairwise(values), strict=True)
    ]


def captured(
    name: str,
    truth: Callable[[Array], Array],
    edges: list[tuple[float, float, float]],
    duration: float,
    interval: float,
    noise: float,
    *,
    gap: tuple[float, float] | None = None,
    grid: float = 1e-4,
    seed: int = 1,
) -> Capture:
    """What is captured of a truth."""
    time = np.arange(round(duration / interval)) * interval
    if gap is not None:
        time = time[(time < gap[0]) | (time >= gap[1])]
    value = truth(time) + np.random.default_rng(seed).normal(scale=noise, size=time.size)
    return Capture(name, truth, tuple(edges), time, np.round(value / grid) * grid, noise)


def ringing(level: float, to: float, at: float, back: float, share: float, hertz: float, decay: float):
    """To another level and back, each with a decaying ringing of a share of the height."""
    edges = [(at, level, to + (level - to) * share), (back, to, level + (to - level) * share)]

    def truth(when: Array) -> Array:
        value = np.full(when.shape, level)
        for since, old, new in ((at, level, to), (back, to, level)):
            own = when >= since - 1e-12
            gone = when[own] - since
            swing = (old - new) * share * np.exp(-gone / decay) * np.cos(2.0 * np.pi * hertz * gone)
            value[own] = new + swing
        return value

    return truth, edges


def drift(first: float, slope: float, dip: tuple[float, float], depth: float):
    """A slow drift with a dip in it."""

    def truth(at: Array) -> Array:
        inside = (at >= dip[0] - 1e-12) & (at < dip[1] - 1e-12)
        return first + slope * at - depth * inside

    before, after = first + slope * dip[0], first + slope * dip[1]
    return truth, [(dip[0], before, before - depth), (dip[1], after - depth, after)]


GIVEN = levels(12.0, (2.0, 9.0), (3.0, 10.0), (4.0, 12.0))

CAPTURES = (
    captured("given, clean", *GIVEN, 5.0, 1e-4, 0.0),
    captured("given, 10 mV", *GIVEN, 5.0, 1e-4, 10e-3),
    captured("given, 20 mV", *GIVEN, 5.0, 1e-4, 20e-3),
    captured("clean", *levels(24.0, (0.7, 18.0), (1.5, 28.0), (1.6, 20.0), (4.0, 24.0)), 6.0, 1e-3, 0.0),
    captured("clean, rising", *levels(3.3, (0.11, 3.6), (0.5, 4.2), (0.9, 5.0)), 1.5, 5e-5, 0.0),
    captured("noisy", *levels(5.0, (0.4, 3.0), (1.1, 4.5), (2.2, 5.0)), 3.0, 5e-5, 30e-3, seed=2),
    captured("noisy, steps of 5 times it", *levels(12.0, (1.0, 11.5), (2.0, 12.0)), 3.0, 2e-4, 0.1, seed=3),
    captured("drifting", *drift(12.0, -0.19, (3.0, 3.5), 4.0), 8.0, 1e-4, 5e-3, seed=4),
    captured("drifting upwards", *drift(24.0, 0.4, (1.0, 1.2), -3.0), 4.0, 5e-4, 20e-3, seed=5),
    captured("ringing", *ringing(12.0, 8.0, 1.0, 2.0, 0.3, 3.0, 0.3), 3.0, 1e-4, 2e-3, seed=6),
    captured("ringing, fast", *ringing(24.0, 30.0, 0.5, 1.25, 0.2, 8.0, 0.1), 2.0, 2e-5, 0.0),
    captured("gap", *levels(12.0, (1.0, 9.0), (2.5, 12.0)), 4.0, 1e-4, 8e-3, gap=(1.2, 1.9), seed=7),
    captured("gap, before the edge", *levels(9.0, (2.0, 12.0)), 3.0, 1e-3, 3e-3, gap=(0.5, 1.8), seed=8),
)
