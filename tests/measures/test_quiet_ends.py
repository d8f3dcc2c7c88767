"""What a load does by itself close to the end of a step at which nothing is told to its input: integrals of
readings hold it, or leave it open. The truth is that of the scene.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import pytest
from scipy.stats import binom

from railwright.measures import MEASURES
from railwright.measures.outcome import Measured
from railwright.measures.signal import View

from .scene import MODEL, Scene, view

SEEDS = 16
LEAST = int(binom.ppf(5e-4, SEEDS, 0.95))
END = 0.3


def told(before: float, update: float, volts: float, first: float, then: float) -> list[Measured]:
    """Of a current that a jump of the set point changes so long before the end, and one at the end ends."""
    model = replace(MODEL, update=update, aperture=0.8 * update)
    at = END - before
    scene = Scene.of(
        (-0.5, volts, first), (at, volts, first), (at + 1e-4, volts, then), (END, volts, then),
        (END + 1e-4, volts, first), (1.0, volts, first),
    )  # fmt: skip
    return [
        MEASURES["mean_current"](view(scene.read(seed, model), model, 0.0, END, told_last=before))
        for seed in range(20)
    ]


@pytest.mark.parametrize(
    ("update", "before"), [(50e-3, 30e-3), (50e-3, 80e-3), (20e-3, 5e-3), (10e-3, 15e-3)]
)
@pytest.mark.parametrize(("first", "then"), [(0.08, 0.12), (1.0, 0.0), (0.2, 2.0)])
def test_what_is_told_too_late_to_be_read_is_said(
    update: float, before: float, first: float, then: float
) -> None:
    true = first + (then - first) * before / END
    for got in told(before, update, 12.0, first, then):
        assert got.unseen
        assert got.low <= 0.0 < true


@pytest.mark.parametrize(("update", "before"), [(50e-3, 120e-3), (20e-3, 45e-3), (10e-3, 25e-3)])
def test_what_is_told_in_time_is_measured(update: float, before: float) -> None:
    true = 0.2 + 1.8 * before / END
    for got in told(before, update, 12.0, 0.2, 2.0):
        assert not got.unseen
        # A 95 % interval, twice as wide: four standard deviations.
        assert abs(got.value - true) <= got.high - got.low


def changes(at: float, volts: float, before: float, after: float, takes: float = 1e-4) -> Scene:
    """The current changes once, at an instant, for long."""
    return Scene.of(
        (-0.5, volts, before), (at, volts, before), (at + takes, volts, after), (1.0, volts, after)
    )


def truth(scene: Scene, measure: str) -> float:
    """Over the step, of a voltage that stays."""
    length = END
    mean = float(scene.mean(scene.time[:1] * 0.0 + END, length, "current")[0])
    volts = float(scene.voltage[0])
    return {
        "charge": mean * length,
        "mean_current": mean,
        "energy": mean * length * volts,
        "mean_power": mean * volts,
    }[measure]


@lru_cache(4)  # each measure is asked of the same readings
def readings(before: float, update: float, volts: float, first: float, then: float) -> list[View]:
    """Of a load that starts or stops such a part of an update before the end."""
    model = replace(MODEL, update=update, aperture=0.8 * update)
    scene = changes(END - before * update, volts, first, then)
    return [view(scene.read(seed, model), model, 0.0, END, quiet=0.5) for seed in range(SEEDS)]


# A mean is its integral by a length: `make test` looks at both, between two edits the means are enough.
@pytest.mark.parametrize(
    "measure",
    [
        *("mean_current", "mean_power"),
        *(pytest.param(each, marks=pytest.mark.slow) for each in ("charge", "energy")),
    ],
)
@pytest.mark.parametrize("update", [10e-3, 20e-3, 50e-3])
@pytest.mark.parametrize("before", [0.2, 0.5, 0.8, 1.2, -0.2])
@pytest.mark.parametrize(
    ("volts", "first", "then"), [(10.0, 0.023, 2.45), (33.0, 0.0, 0.045), (5.0, 1.5, 0.2)]
)
def test_what_begins_before_the_end_is_in_the_interval(
    volts: float, first: float, then: float, before: float, update: float, measure: str
) -> None:
    """A load that starts or stops some part of an update before the end, or after it."""
    scene = changes(END - before * update, volts, first, then)
    true, inside = truth(scene, measure), 0
    for own in readings(before, update, volts, first, then):
        got = MEASURES[measure](replace(own))  # what a view has worked out is its own
        inside += got.low <= true <= got.high
    assert inside >= LEAST


@pytest.mark.parametrize("measure", ["charge", "mean_power"])
@pytest.mark.parametrize("update", [10e-3, 50e-3])
def test_a_steady_current_is_known_as_well_as_before(update: float, measure: str) -> None:
    """No change, nothing left open: what the end leaves is no wider with a reading beyond it."""
    model = replace(MODEL, update=update, aperture=0.8 * update)
    scene = changes(0.9, 10.0, 1.0, 2.0)
    for seed in range(10):
        own = scene.read(seed, model)
        quiet, loud = (MEASURES[measure](view(own, model, 0.0, END, quiet=each)) for each in (0.5, 0.0))
        assert quiet.high - quiet.low <= 1.05 * (loud.high - loud.low)
