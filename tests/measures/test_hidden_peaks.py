"""A peak of the current that no reading shows makes the band wider in which a start-up ends."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from railwright.measures import MEASURES
from railwright.measures.outcome import Measured
from railwright.measures.reading_model import HidingBound, ReadingModel
from railwright.physics.surge import SurgePath

from .scene import CURRENT, MODEL, Scene
from .test_measures import view

FINE = replace(MODEL, current=(replace(CURRENT, of_value=0.0, offset=0.0, resolution=1e-6, noise=1e-6),))


def starting(final: float, begins: float, constant: float, peak: float) -> Scene:
    """A current that falls to its final value like a capacitor's, from `begins` more, after a peak of a
    fifth of a millisecond.
    """
    time = np.linspace(0.006, 3.0, 6001)
    amperes = final + begins * np.exp(-(time - 0.006) / constant)
    before = [
        (-0.2, 0.0, 0.0),
        (0.0, 0.0, 0.0),
        (0.005, 3.75, 0.0),
        (0.0051, 3.75, peak),
        (0.0052, 3.75, 0.0),
    ]
    return Scene.of(*before, *((float(t), 3.75, float(i)) for t, i in zip(time, amperes, strict=True)))


def limited(limit: float, first: float) -> ReadingModel:
    bound = HidingBound(limit, 1e-3, "the current limit that was set")
    return replace(FINE, current_bound=bound, surge=SurgePath(limit + 1e-3, resistance=0.07, first=first))


def measured(scene: Scene, model: ReadingModel, seed: int = 3) -> Measured:
    read = scene.read(seed, model)
    return MEASURES["start_up_time"](view(read, model, 0.0, 3.0, switched_on=0.0, goal=3.75))


GIVEN = {
    "a limit with its overshoot": (22e-3, 80e-3, 0.25, 0.09, 0.59, 0.219),
    "by what the limit lets through": (20e-3, 60e-3, 0.2, 0.4, 0.4, 0.3),
    "a larger output": (60e-3, 0.6, 0.2, 1.0, 3.5, 2.4),
    "nearly all that it gives": (10e-3, 40e-3, 0.2, 0.05, 1.05, 1.0),
}


@pytest.mark.parametrize("given", GIVEN.values(), ids=GIVEN)
def test_the_interval_reaches_to_where_a_peak_lets_the_start_up_end(
    given: tuple[float, float, float, float, float, float],
) -> None:
    final, begins, constant, limit, first, peak = given
    for seed in range(10):
        found = measured(starting(final, begins, constant, peak), limited(limit, first), seed)
        true, later = (
            0.006 + constant * math.log(begins / max(0.1 * final, 0.02 * largest))
            for largest in (peak, final + begins)
        )
        assert found.low <= true <= found.high
        # Without a peak it ends as late as the readings show.
        none = measured(starting(final, begins, constant, final), limited(limit, first), seed)
        assert none.low <= later <= none.high


def test_where_no_peak_can_widen_the_band_the_interval_is_that_of_the_readings() -> None:
    scene = starting(0.1, 0.3, 0.25, 0.3)
    found = measured(scene, limited(0.3, 0.45))
    none = measured(scene, replace(FINE, current_bound=None, surge=None))
    assert (found.low, found.high) == (none.low, none.high)
    assert found.high - found.low < 0.03
    assert measured(scene, limited(0.3, 1.5)).low < found.low - 0.05
