"""How a recording was sampled, as its own times tell it, against what the bench declares of its recorder."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from railwright.documents.bench import Recorder
from railwright.measures.hiding import MISSING
from railwright.quantities import show

MEDIAN = 0.674489750196082
"""What half of a normal quantity's magnitudes do not exceed, in parts of its r.m.s."""

TELLING = 0.02
"""An interval is told to be another one than declared from this part of it on."""

SHARE = 0.01
"""A jitter is told that is more than this part of the interval, and more than declared."""


@dataclass(frozen=True, slots=True)
class Sampling:
    """How a recording was sampled: the usual time between two samples, the r.m.s. of their instants about an
    even grid, the longest time between two of them, and the whole length [s].
    """

    interval: float
    jitter: float
    longest: float
    length: float


def sampling_of(time: NDArray[np.float64]) -> Sampling:
    """Of sample times, shape (n,), never decreasing.

    The jitter from the median magnitude of second differences, which gaps do not move: of independent
    instants of r.m.s. j these have √6 j.
    """
    if time.size < 3:
        return Sampling(0.0, 0.0, 0.0, 0.0)
    apart = np.diff(time)
    jitter = float(np.median(np.abs(np.diff(apart)))) / MEDIAN / math.sqrt(6.0)
    return Sampling(float(np.median(apart)), jitter, float(np.max(apart)), float(time[-1] - time[0]))


def differences(recorder: Recorder, sampling: Sampling, drift: float) -> Iterator[str]:
    """Where a recording was sampled otherwise than its recorder is said to, in words."""
    declared, interval = recorder.interval, sampling.interval
    if interval and abs(interval - declared) > TELLING * declared:
        yield (
            f"its samples are {show(interval, 's', 3)} apart, {show(declared, 's', 3)} is declared: "
            "the larger counted"
        )
    if sampling.jitter > max(recorder.jitter or 0.0, SHARE * interval):
        said = "none" if recorder.jitter is None else show(recorder.jitter, "s", 2)
        yield (
            f"the instants of its samples scatter by {show(sampling.jitter, 's', 2)} (r.m.s.), {said} is "
            "declared: the larger counted"
        )
    if interval and sampling.longest > MISSING * max(interval, declared):
        yield f"samples are missing: two of them are {show(sampling.longest, 's', 3)} apart"
    if abs(drift) > (recorder.time_base or 0.0):
        said = "nothing" if recorder.time_base is None else f"{recorder.time_base * 100:.2g} %"
        yield (
            f"its clock differs from the run's by {abs(drift) * 100:.2g} %, {said} is declared: the larger "
            "counted"
        )
