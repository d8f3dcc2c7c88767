"""What set points tell of readings: a step that begins with a jump, levels that fall between two apertures,
and products of means over an aperture in which both jump. The truth is the integral of the scene's corners.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom

from railwright.measures import MEASURES
from railwright.measures.asked import brief_levels
from railwright.measures.level_change import LevelChange
from railwright.measures.reading_model import ReadingModel

from .scene import MODEL, Scene, view

SEEDS = 16
LEAST = int(binom.ppf(5e-4, SEEDS, 0.95))
EDGE = 1e-4

SUPPLIES = [(50e-3, 40e-3, 5e-3), (50e-3, 25e-3, 12.5e-3), (20e-3, 16e-3, 20e-3), (10e-3, 8e-3, 2.5e-3)]
"""Update, aperture, polling interval [s]."""


def model_of(update: float, aperture: float) -> ReadingModel:
    return replace(MODEL, update=update, aperture=aperture)


def truth(scene: Scene, measure: str, length: float) -> float:
    """By the trapezoid rule on 1 µs, of straight lines; the product of two lines is off by less than 1e-6."""
    time = np.linspace(0.0, length, round(length / 1e-6) + 1)
    volts, amperes = scene.at(time, "voltage"), scene.at(time, "current")
    of = {"mean_voltage": volts, "mean_current": amperes, "mean_power": volts * amperes}[measure]
    return float(np.trapezoid(of, time)) / length


def held(
    measure: str, scene: Scene, length: float, supply: tuple[float, float, float], **more: object
) -> int:
    """In how many of SEEDS records the interval holds the truth."""
    update, aperture, every = supply
    model, true, inside = model_of(update, aperture), truth(scene, measure, length), 0
    for seed in range(SEEDS):
        got = MEASURES[measure](view(scene.read(seed, model, every), model, 0.0, length, **more))
        assert not got.unseen
        inside += got.low <= true <= got.high
    return inside


def level(volts: float, load: str, nominal: float, amperes: float) -> tuple[float, float]:
    """Voltage and what a load draws there: constant power, a resistor, or constant current."""
    ratio = volts / nominal
    return volts, amperes * {"power": 1.0 / ratio, "resistor": ratio, "current": 1.0}[load]


def jump(first: tuple[float, float], then: tuple[float, float]) -> Scene:
    return Scene.of((-0.5, *first), (0.0, *first), (EDGE, *then), (2.0, *then))


def excursion(at: float, lasts: float, first: tuple[float, float], then: tuple[float, float]) -> Scene:
    return Scene.of(
        (-0.5, *first), (at, *first), (at + EDGE, *then), (at + lasts, *then), (at + lasts + EDGE, *first),
        (2.0, *first),
    )  # fmt: skip


@pytest.mark.parametrize("measure", ["mean_voltage", "mean_current", "mean_power"])
@pytest.mark.parametrize("supply", [*SUPPLIES, (10e-3, 8e-3, 20e-3), (20e-3, 16e-3, 40e-3)])
@pytest.mark.parametrize(
    ("first", "then"), [((9.6, 0.2), (12.0, 0.3)), ((24.0, 0.3), (14.5, 0.4)), ((3.0, 0.1), (30.0, 1.0))]
)
def test_the_mean_of_a_step_that_begins_with_a_jump_is_none_that_no_reading_shows(
    measure: str,
    supply: tuple[float, float, float],
    first: tuple[float, float],
    then: tuple[float, float],
) -> None:
    """Half of what lies between two windows was put before the step: 12.031 V, and no reading was above
    12.022 V.
    """
    update, aperture, every = supply
    model, scene = model_of(update, aperture), jump(first, then)
    true, inside = truth(scene, measure, 0.2), 0
    for seed in range(SEEDS // 3):
        read = scene.read(seed, model, every, 1e-3)
        got = MEASURES[measure](view(read, model, 0.0, 0.2, told_before=0.0))
        volts, amperes = read.columns["voltage"], read.columns["current"]
        shown = {"mean_voltage": volts, "mean_current": amperes, "mean_power": volts * amperes}[measure]
        assert shown.min() - 1e-9 <= got.value <= shown.max() + 1e-9
        inside += got.low <= true <= got.high
    assert inside >= int(binom.ppf(5e-4, SEEDS // 3, 0.95))


@pytest.mark.parametrize("measure", ["mean_voltage", "mean_current", "mean_power"])
@pytest.mark.parametrize("supply", SUPPLIES)
@pytest.mark.parametrize(
    ("first", "then", "load"),
    [(24.0, 14.5, "power"), (12.0, 16.0, "resistor"), (5.0, 3.1, "resistor"), (48.0, 30.0, "current")],
)
def test_a_step_that_begins_with_a_jump_holds_nothing_of_what_was_before(
    first: float, then: float, load: str, supply: tuple[float, float, float], measure: str
) -> None:
    """A reading that reaches over the beginning holds some of both; its mean over the phases counted 0.2
    updates of the jump before the step: 20 to 45 of 60 intervals held the truth.
    """
    scene = jump(level(first, load, first, 0.25), level(then, load, first, 0.25))
    assert held(measure, scene, 0.4, supply, told_before=0.0) >= LEAST


@pytest.mark.parametrize("before", [0.1, 0.3, 0.6, 0.9])
@pytest.mark.parametrize("supply", SUPPLIES)
def test_what_moves_right_before_a_step_is_left_open(
    supply: tuple[float, float, float], before: float
) -> None:
    """The last jump of the step before is not long over: 22 of 60 held the truth."""
    ago = before * supply[0]
    scene = Scene.of((-0.5, 24.0, 0.2), (-ago, 24.0, 0.2), (-ago + EDGE, 14.5, 0.2), (2.0, 14.5, 0.2))
    assert held("mean_voltage", scene, 0.4, supply, told_before=ago) >= LEAST


@pytest.mark.parametrize("measure", ["mean_voltage", "mean_current", "mean_power"])
@pytest.mark.parametrize(
    ("update", "aperture", "lasts"),
    [
        (50e-3, 40e-3, 5e-3), (50e-3, 40e-3, 20e-3), (50e-3, 25e-3, 10e-3), (50e-3, 25e-3, 30e-3),
        (20e-3, 16e-3, 4e-3), (20e-3, 16e-3, 8e-3), (20e-3, 16e-3, 24e-3), (50e-3, 40e-3, 60e-3),
    ],
)  # fmt: skip
@pytest.mark.parametrize("begins", [True, False])
@pytest.mark.parametrize(
    ("first", "then", "load"), [(24.0, 14.5, "power"), (12.0, 18.0, "resistor"), (24.0, 14.5, "current")]
)
def test_a_level_that_falls_between_two_apertures_is_in_the_interval(
    first: float,
    then: float,
    load: str,
    begins: bool,
    update: float,
    aperture: float,
    lasts: float,
    measure: str,
) -> None:
    """As draw 61/34 of the hunt: 20 ms at 14.5 V, of which 10 ms lie between two apertures of 40 ms."""
    at = 0.0 if begins else 0.2
    scene = excursion(at, lasts, level(first, load, first, 0.25), level(then, load, first, 0.25))
    known = {
        "stands": lasts,
        "changes": (LevelChange(at, first, then), LevelChange(at + lasts, then, first)),
        "told_before": 0.0 if begins else math.inf,
    }
    assert held(measure, scene, 0.45, (update, aperture, 5e-3), **known) >= LEAST


@pytest.mark.parametrize("lasts", [100e-3, 200e-3])
def test_a_level_that_readings_hold_wholly_costs_nothing(lasts: float) -> None:
    scene, model = excursion(0.2, lasts, (24.0, 0.2), (14.5, 0.2)), model_of(50e-3, 40e-3)
    jumps = (LevelChange(0.2, 24.0, 14.5), LevelChange(0.2 + lasts, 14.5, 24.0))
    for seed in range(10):
        readings = scene.read(seed, model)
        one, other = (
            MEASURES["mean_power"](view(readings, model, 0.0, 0.6, **known))
            for known in ({}, {"changes": jumps})
        )
        assert one == other


def test_what_stood_before_widens_no_interval_of_a_steady_step() -> None:
    """Not by more than the noise of one reading, of which it counts two updates, would."""
    scene = Scene.of((-0.5, 24.0, 0.2), (2.0, 24.0, 0.2))
    for seed in range(10):
        readings = scene.read(seed)
        one, other = (
            MEASURES["mean_voltage"](view(readings, MODEL, 0.0, 1.0, told_before=each))
            for each in (math.inf, 0.0)
        )
        assert other.high - other.low <= 1.02 * (one.high - one.low)


@pytest.mark.parametrize(
    ("jumps", "expected"),
    [
        ([(0.0, 24.0, 14.5), (0.02, 14.5, 24.0)], [(0.02, 9.5)]),
        ([(0.0, 24.0, 14.5), (0.02, 14.5, 10.0)], []),  # on its way down
        ([(0.0, 24.0, 20.0), (0.01, 20.0, 12.0), (0.02, 12.0, 24.0)], [(0.02, 12.0)]),  # two in a row are one
        ([(0.0, 24.0, 30.0), (0.02, 30.0, 20.0)], [(0.02, 6.0)]),  # over both
        ([(0.0, 24.0, 14.5), (0.06, 14.5, 24.0)], []),  # long enough
        (
            [(0.0, 9.0, 5.0), (0.01, 5.0, 9.0), (0.5, 9.0, 12.0), (0.53, 12.0, 9.0)],
            [(0.01, 4.0), (0.03, 3.0)],
        ),
    ],
)
def test_brief_levels_are_those_beyond_both_neighbours(
    jumps: list[tuple[float, float, float]], expected: list[tuple[float, float]]
) -> None:
    found = brief_levels(tuple(LevelChange(*each) for each in jumps), 0.05)
    assert [(each.lasts, each.away) for each in found] == [
        (pytest.approx(lasts), pytest.approx(away)) for lasts, away in expected
    ]


@pytest.mark.parametrize("measure", ["mean_voltage", "mean_current"])
@pytest.mark.parametrize("supply", SUPPLIES[:3])
@pytest.mark.parametrize("lasts", [0.3, 0.6, 0.9, 1.5])
def test_a_brief_level_before_the_step_is_not_of_it(
    measure: str, supply: tuple[float, float, float], lasts: float
) -> None:
    """6 V for so many updates before the step, and 12 V before that and in it: readings need not show the
    dip before the step, and what they show of it in the step was all counted there: 11.3 V were read where
    11.97 V stood.
    """
    update = supply[0]
    before, low = (12.0, 0.3), (6.0, 0.6)
    begins = -lasts * update
    scene = Scene.of(
        (-0.5, *before), (begins, *before), (begins + EDGE, *low), (0.0, *low), (EDGE, *before),
        (2.0, *before),
    )  # fmt: skip
    assert held(measure, scene, 0.3, supply, told_before=0.0, stood=lasts * update) >= LEAST
