"""What no reading and no sample tells passes nothing: between coarse samples, between apertures, at levels of
which next to nothing decides, and where a value was lost.

The truth is that of the scene, in closed form.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.measures.scene import EXACT, MODEL, RECORDER, UPDATE, Scene, view
from tests.said import says

from railwright.evaluation.decision import Tolerance, decide
from railwright.evaluation.outcome import Outcome
from railwright.measures import MEASURES
from railwright.measures.outcome import CannotMeasure, Measured
from railwright.measures.reading_model import ReadingModel
from railwright.measures.signal import View
from railwright.measures.status import ModeChange, SupplyStatus
from railwright.traces import Mode

STEADY, PEAK = 0.49, 1.9


def peak(lasts: float) -> Scene:
    """0.49 A at 12 V, and 1.9 A for so long [s] at 0.5013 s."""
    at = 0.5013
    return Scene.of(
        (0.0, 12.0, STEADY), (at, 12.0, STEADY), (at + 1e-6, 12.0, PEAK), (at + lasts, 12.0, PEAK),
        (at + lasts + 1e-6, 12.0, STEADY), (1.5, 12.0, STEADY),
    )  # fmt: skip


def beside(scene: Scene, samples: Scene, grid: float, declared: float = 0.0) -> View:
    """A recording on a grid [s] of one scene, with the readings that a supply took of another beside it."""
    model = replace(RECORDER, interval=declared)
    own = view(scene.read(1), MODEL, 0.1, 1.4, every=UPDATE)
    return view(samples.samples(grid), model, 0.1, 1.4, every=UPDATE, beside=own)


@pytest.mark.parametrize(
    ("lasts", "grid", "declared"),
    [
        (5e-3, 10e-3, 0.0),
        (3e-3, 5e-3, 0.0),
        (5e-3, 10e-3, 10e-3),
        (0.3e-3, 0.4e-3, 0.0),
        (5e-3, 20e-6, 10e-3),
    ],
)
def test_a_peak_may_lie_between_samples_that_are_farther_apart_than_the_check_asks(
    lasts: float, grid: float, declared: float
) -> None:
    steady = Scene.of((0.0, 12.0, STEADY), (1.5, 12.0, STEADY))
    for measure, most in (("peak_current", 0.7), ("peak_voltage", 12.6)):
        # The recorder meets nothing of the peak.
        got = MEASURES[measure](beside(peak(lasts), steady, grid, declared))
        assert got.unseen
        assert got.high >= most
        assert decide(got, Tolerance(None, most), "A", "guarded", 1.0)[0] is Outcome.INCONCLUSIVE
    with pytest.raises(CannotMeasure, match="between two samples"):
        MEASURES["time_out_of_cv"](in_cv(beside(peak(lasts), steady, grid, declared)))


def test_samples_as_close_as_the_check_asks_decide() -> None:
    steady = Scene.of((0.0, 12.0, STEADY), (1.5, 12.0, STEADY))
    asked = MEASURES["peak_current"].sampling
    assert asked is not None
    grid = asked(UPDATE, UPDATE, MODEL.aperture or 0.0)
    got = MEASURES["peak_current"](beside(steady, steady, grid))
    assert not got.unseen
    assert got.low <= STEADY <= got.high
    assert MEASURES["time_out_of_cv"](in_cv(beside(steady, steady, grid))).high == 0.0
    seen = MEASURES["peak_current"](beside(peak(5e-3), peak(5e-3), grid))
    assert decide(seen, Tolerance(None, 0.7), "A", "guarded", 1.0)[0] is Outcome.FAIL
    # However seldom the readings come, a recording of 200 samples/s sees no peak of 3 ms.
    assert asked(2.0, 2.0, 1.0) <= 1e-3


def in_cv(of: View) -> View:
    modes = (ModeChange(Mode.CV, 0.0, 0.0),)
    return replace(of, supply=SupplyStatus(modes=modes, trips=(), gap=0.02, least_limit=0.99))


def pulsing(part: float, more: float = 1.0, length: float = 4.0) -> Scene:
    """0.49 A at 12 V, and 1 A more for a part of each 100 ms that begins at its end less that part."""
    corners = [(0.0, 12.0, STEADY)]
    for start in np.arange(0.0, length, 0.1):
        at = float(start) + 0.1 * (1.0 - part)
        corners += [(at, 12.0, STEADY), (at + 1e-6, 12.0, STEADY + more)]
        corners += [(start + 0.1 - 2e-6, 12.0, STEADY + more), (start + 0.1 - 1e-6, 12.0, STEADY)]
    return Scene.of(*corners)


def aligned(scene: Scene, aperture: float, update: float = 0.1, limit: float = 2.0) -> View:
    """Readings whose apertures all begin with the scene's periods: the worst phase."""
    bound = replace(MODEL.current_bound, value=limit)  # type: ignore[type-var]
    model: ReadingModel = replace(MODEL, update=update, aperture=aperture, current_bound=bound)
    ends = np.arange(aperture, scene.time[-1], update)
    columns = {name: scene.mean(ends, aperture, name) for name in ("voltage", "current")}
    traces = replace(scene.truth(), time=ends + 0.5 * update, columns=columns)
    return view(traces, model, 1.0, 3.0, every=update)


INTEGRALS = {"mean_current": 1.0, "mean_power": 12.0, "charge": 2.0, "energy": 24.0}
"""What each is of 1 A at 12 V over 2 s."""


@pytest.mark.parametrize("measure", INTEGRALS)
@pytest.mark.parametrize(
    ("part", "more", "aperture"), [(0.39, 1.0, 0.02), (0.7, -0.45, 0.02), (0.5, 1.4, 0.04)]
)
def test_what_is_drawn_where_no_aperture_is_may_be_anything(
    measure: str, part: float, more: float, aperture: float
) -> None:
    truth = INTEGRALS[measure] * (STEADY + more * part)
    got = MEASURES[measure](aligned(pulsing(part, more), aperture))
    assert got.low <= truth <= got.high
    assert abs(got.value - truth) > 0.1 * truth
    # Neither passed nor failed by a limit on either side of what is read; a limit beyond all of it is.
    for limit in (Tolerance(None, 1.1 * got.value), Tolerance(0.9 * got.value, None)):
        for rule in ("guarded", "simple"):
            assert decide(got, limit, "A", rule, 1.0)[0] is Outcome.INCONCLUSIVE  # type: ignore[arg-type]
    assert decide(got, Tolerance(None, 1.01 * got.high), "A", "guarded", 1.0)[0] is Outcome.PASS
    assert decide(got, Tolerance(1.01 * got.high, None), "A", "guarded", 1.0)[0] is Outcome.FAIL


def test_apertures_of_half_the_time_and_more_are_as_sure_as_before_and_say_what_is_taken() -> None:
    steady = Scene.of((0.0, 12.0, STEADY), (4.0, 12.0, STEADY))
    for measure, of_one in INTEGRALS.items():
        got = MEASURES[measure](aligned(steady, 0.08))
        assert not got.unseen
        assert got.high - got.low < 0.05 * got.value
        assert got.value == pytest.approx(of_one * STEADY, rel=1e-3)
        assert says(got.how, "20 %")


@pytest.mark.parametrize("part", [0.0, 0.39, 0.7])
def test_between_a_meters_apertures_the_supply_tells_by_how_much_it_varies(part: float) -> None:
    """The meter alone sees 0.49 A whatever is drawn; a steady supply leaves it as exact as it is."""
    scene = pulsing(part) if part else Scene.of((0.0, 12.0, STEADY), (4.0, 12.0, STEADY))
    own = view(scene.read(3), MODEL, 1.0, 3.0, every=UPDATE)
    meter = replace(aligned(scene, 0.02), beside=own)
    got = MEASURES["mean_current"](meter)
    assert got.low <= STEADY + part <= got.high
    assert (got.high - got.low < 0.02) == (part == 0.0)


def test_a_recorder_tells_what_flows_between_apertures() -> None:
    scene = pulsing(0.39)
    got = MEASURES["mean_current"](view(scene.samples(100e-6), RECORDER, 1.0, 3.0))
    assert not got.unseen
    assert got.low <= STEADY + 0.39 <= got.high


@pytest.mark.parametrize("lost", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("channel", ["current", "voltage"])
def test_a_row_in_which_a_value_was_lost_tells_nothing(lost: float, channel: str) -> None:
    read = Scene.of((0.0, 12.0, STEADY), (4.0, 12.0, STEADY)).read(2)
    values = read.columns[channel].copy()
    values[150] = lost
    columns = {"terminal_voltage": read.columns["voltage"], "current": read.columns["current"]}
    columns["terminal_voltage" if channel == "voltage" else channel] = values
    of = view(replace(read, columns=columns), MODEL, 1.0, 3.0, every=UPDATE)
    for measure, about in {
        "mean_voltage": 12.0 - 0.075 * STEADY,
        "mean_current": STEADY,
        "charge": 2 * STEADY,
    }.items():
        got = MEASURES[measure](of)
        assert got.low <= about <= got.high
        assert math.isfinite(got.value)
        assert any("1 left out" in each for each in got.assumptions)


def levels(*volts: float, each: float = 0.3) -> Scene:
    """Levels that stand for the same time, with edges of 1 V/ms."""
    corners, at = [(-0.1, volts[0], 0.4)], 0.0
    for level, after in zip(volts, (*volts[1:], volts[-1]), strict=True):
        at += each
        corners += [(at - abs(after - level) * 1e-3, level, 0.4), (at, after, 0.4)]
    return Scene.of(*corners, (at + 0.1, volts[-1], 0.4))


def level_of(scene: Scene, model: ReadingModel, end: float, measure: str, seed: int) -> Measured | None:
    """None: it cannot be measured."""
    traces = (
        scene.truth()
        if model.exact
        else scene.read(seed, model, every=200e-6 if model is RECORDER else 10e-3)
    )
    try:
        return MEASURES[measure](view(traces, model, 0.0, end))
    except CannotMeasure:
        return None


@pytest.mark.parametrize("model", [EXACT, MODEL, RECORDER], ids=["rehearsal", "readings", "recorder"])
@pytest.mark.parametrize(
    ("volts", "measure", "rivals"),
    [
        ((9.0, 15.0, 12.0), "high_state_level", (12.0, 15.0)),  # one of them in the very middle
        ((9.0, 12.0, 14.0), "high_state_level", (12.0, 14.0)),
        ((15.0, 9.0, 11.0), "low_state_level", (9.0, 11.0)),
        ((28.0, 6.0, 20.0, 24.0), "high_state_level", (20.0, 28.0)),
    ],
)
def test_levels_that_stand_equally_long_are_either(
    volts: tuple[float, ...], measure: str, rivals: tuple[float, float], model: ReadingModel
) -> None:
    for seed in (1, 2):
        got = level_of(levels(*volts), model, 0.3 * len(volts), measure, seed)
        assert got is None or (got.low <= rivals[0] and got.high >= rivals[1])


@pytest.mark.parametrize("model", [EXACT, MODEL, RECORDER], ids=["rehearsal", "readings", "recorder"])
def test_a_level_that_stands_clearly_longer_is_the_level(model: ReadingModel) -> None:
    got = level_of(levels(9.0, 9.0, 15.0, 15.0, 13.0), model, 1.5, "high_state_level", 1)
    assert got is not None
    assert got.low <= 15.0 <= got.high
    assert got.high - got.low < 0.25
