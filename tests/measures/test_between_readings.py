"""What an integral of readings leaves open, against closed forms and brute force."""

from __future__ import annotations

import math

import numpy as np
import pytest

from railwright.measures import MEASURES
from railwright.measures.reading_model import Part, ReadingModel

from .scene import Scene, view

UPDATE = 10e-3


def perfect(aperture: float) -> ReadingModel:
    """Readings without errors: what is left is what no aperture covers."""
    part = Part("left.1", 0.0, 0.0, 0.0, 0.0)
    return ReadingModel("readings", (part,), (part,), UPDATE, aperture)


@pytest.mark.parametrize("aperture", [4e-3, 6e-3, 8e-3])
@pytest.mark.parametrize("amps", [0.2, 1.0, 5.0])
def test_nothing_is_drawn_down_of_a_current_that_begins_with_the_switching_on(
    aperture: float, amps: float
) -> None:
    """A resistor's current: 0 before, `amps` after. Closed form: of a jump that no aperture sees, the
    trapezoid rule is off by half of it times the time that none covers, at most; one that an aperture sees
    lies before or behind its middle: up to √2 of that for both. A reading that reaches into the rise was
    taken for something that stood there before it.
    """
    scene = Scene.of((-0.5, 0.0, 0.0), (0.0, 0.0, 0.0), (0.0, 12.0, amps), (0.5, 12.0, amps))
    for seed in range(20):
        readings = scene.read(seed, perfect(aperture))
        for measure, scale in (("charge", 1.0), ("energy", 12.0)):
            got = MEASURES[measure](view(readings, perfect(aperture), 0.0, 0.3, switched_on=0.0))
            (between,) = [each for each in got.contributions if "between readings" in each.source]
            most = amps * scale * (UPDATE - aperture) / 2.0
            assert between.standard * math.sqrt(3.0) <= most * math.sqrt(2.0) * 1.001, (seed, measure)


@pytest.mark.parametrize("volts", [5.0, 12.0])
def test_what_stands_before_may_be_drawn_down(volts: float) -> None:
    """A battery holds 9 V before: an output that comes on from 0 V may take it to nothing for the time that
    no aperture covers, which the mean voltage then misses (volts / 0.3 s times 2 ms).
    """
    scene = Scene.of((-0.5, volts, 0.0), (0.0, volts, 0.0), (0.5, volts, 0.0))
    for seed in range(10):
        readings = scene.read(seed, perfect(8e-3))
        got = MEASURES["mean_voltage"](view(readings, perfect(8e-3), 0.0, 0.3, switched_on=0.0))
        missed = volts * 2e-3 / 0.3
        assert got.high - got.low >= 2.0 * 0.94 * missed
        assert np.isclose(got.value, volts, atol=missed)
