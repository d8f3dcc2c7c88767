"""What an integral of readings leaves open, against closed forms and brute force."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom

from railwright.measures import MEASURES
from railwright.measures.integral import mean_voltage
from railwright.measures.outcome import CannotMeasure
from railwright.measures.peak import peak_voltage
from railwright.measures.reading_model import Part, ReadingModel

from .scene import MODEL, Scene, view

UPDATE = 10e-3
SEEDS = 240
LEAST = int(binom.ppf(5e-4, SEEDS, 0.95))


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
            (between,) = [each for each in got.contributions if each.source == "between readings"]
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


@pytest.mark.parametrize(
    ("part", "milliseconds"),
    [((0.7, 0.7), (30.0, 30.0)), ((0.72, 0.72), (30.0, 30.0)), ((0.7, 0.7), (29.0, 30.0))],
)
def test_a_load_that_begins_where_the_charging_ends_is_no_small_change(
    part: tuple[float, float], milliseconds: tuple[float, float]
) -> None:
    """A capacitor charges along a ramp of the voltage, and a load begins on its way up. Closed form: C V and
    I (T - t). A reading before both and one after both may be alike, and 3 mC were missing between them.
    """
    held = 0
    for seed in range(SEEDS):
        rng = np.random.default_rng([seed, 12])
        capacitance, rise = rng.uniform(0.8e-3, 1.2e-3), rng.uniform(*milliseconds) * 1e-3
        charging, begins = capacitance * 12.0 / rise, rise * rng.uniform(*part)
        amps, volts = charging * rng.uniform(0.8, 1.1), 12.0 * begins / rise
        scene = Scene.of(
            (-0.5, 0.0, 0.0), (0.0, 0.0, 0.0), (1e-9, 0.0, charging), (begins, volts, charging),
            (begins + 1e-9, volts, charging + amps), (rise, 12.0, charging + amps), (rise + 1e-9, 12.0, amps),
            (0.5, 12.0, amps),
        )  # fmt: skip
        truth = capacitance * 12.0 + amps * (0.3 - begins)
        readings = scene.read(seed, perfect(8e-3), every=20e-3)
        known = {"switched_on": 0.0, "capacitance": (0.8e-3, 1.2e-3)}
        got = MEASURES["charge"](view(readings, perfect(8e-3), 0.0, 0.3, **known))
        held += got.low <= truth <= got.high
    assert held >= LEAST


@pytest.mark.parametrize("lasts", [0.03, 0.06, 0.085])
@pytest.mark.parametrize(("before", "after"), [(12.0, 12.0), (12.0, 9.5), (9.5, 12.0)])
@pytest.mark.parametrize("every", [5e-3, 20e-3])
def test_a_step_that_no_reading_covers_has_no_peak_of_its_neighbours(
    lasts: float, before: float, after: float, every: float
) -> None:
    """8.6 V between higher levels: every reading holds some of those, and the lowest of them was told as
    surely reached. Readings average over 40 ms every 50 ms: in less than 90 ms none lies wholly for sure.
    """
    corners = [(-0.5, before, 0.2), (0.0, before, 0.2), (1e-4, 8.6, 0.2), (lasts, 8.6, 0.2)]
    scene = Scene.of(*corners, (lasts + 1e-4, after, 0.2), (lasts + 0.5, after, 0.2))
    model = replace(MODEL, update=50e-3, aperture=40e-3)
    for seed in range(10):
        step = view(scene.read(seed, model, every), model, 1e-4, lasts)
        try:
            found = peak_voltage(step)
        except CannotMeasure:
            continue
        assert found.low <= 8.6


@pytest.mark.parametrize("stands", [-1.5, 0.0, 2.0, 17.0, 24.4])
def test_terminals_behind_a_diode_that_may_block_may_stand_anywhere_below(stands: float) -> None:
    """The output senses beyond the diode, where a capacitor holds 24 V, and lets its terminals sink. They
    were told at 24 V and what the diode drops.
    """
    model = replace(MODEL, drop=(0.4, 0.6))
    scene = Scene.of((-0.5, 24.0, 0.0), (1.0, 24.0, 0.0))
    for seed in range(10):
        step = view(scene.read(seed), model, 0.0, 0.8, at="terminals")
        mean = mean_voltage(step)
        assert mean.low <= stands <= mean.high
        assert peak_voltage(step).low <= stands


@pytest.mark.parametrize("amperes", [0.1, 0.4])
def test_terminals_in_front_of_a_diode_that_conducts_are_known(amperes: float) -> None:
    model = replace(MODEL, drop=(0.4, 0.6))
    scene = Scene.of((-0.5, 24.0, amperes), (1.0, 24.0, amperes))
    mean = mean_voltage(view(scene.read(1), model, 0.0, 0.8, at="terminals"))
    assert mean.value == pytest.approx(24.5 + 0.075 * amperes, abs=0.03)
    assert mean.high - mean.low < 0.4
