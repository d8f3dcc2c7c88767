"""What a median of few readings tells, and what swings within them: state levels and start-up times as the
disagreement hunt found them. The truth is the scene that the readings are made of, in closed form.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.measures.scene import EXACT, MODEL, Scene, view

from railwright.measures.outcome import Beyond, CannotMeasure
from railwright.measures.start_up_time import start_up_time
from railwright.measures.state_level import high_state_level, low_state_level
from railwright.traces import Mode, Traces

SEEDS = 12


@pytest.mark.parametrize("lasts", [(0.2, 0.2), (0.201, 0.2), (0.1, 0.2, 0.1), (0.2, 0.203)])
@pytest.mark.parametrize("every", [5e-3, 10e-3, 20e-3])
def test_the_median_of_two_levels_of_one_state_may_be_either(lasts: tuple[float, ...], every: float) -> None:
    """48 V and 47.5 V, about as long: less than 2 % apart they are one state, whose level is the median. By
    one reading more or less it is 48 V or 47.5 V.
    """
    corners, time = [(-0.5, 48.0, 0.3), (-1e-4, 48.0, 0.3)], 0.0
    for number, length in enumerate(lasts):
        level = 47.5 if number % 2 == 0 else 48.0
        corners += [(time + 1e-4, level, 0.3), (time + length, level, 0.3)]
        time += length
    scene = Scene.of(*corners, (time + 1e-4, 49.0, 0.3), (time + 0.3, 49.0, 0.3))
    truth = float(np.median(scene.at(np.linspace(0.0, time, 4001), "voltage")))
    for seed in range(SEEDS):
        for measure in (low_state_level, high_state_level):
            found = measure(view(scene.read(seed, every=every), MODEL, 0.0, time))
            # Either level as it is read: 6 mV of offset, 24 mV of gain.
            assert found.low - 30e-3 <= truth <= found.high + 30e-3


@pytest.mark.parametrize("level", [9.0, 11.03, 12.5])
@pytest.mark.parametrize("update", [10e-3, 20e-3])
def test_a_level_that_comes_out_alike_is_read_as_often_as_it_lasts(level: float, update: float) -> None:
    """On a grid of 50 mV every reading of a level is the same. They counted as one, however long the level
    lasted, and what was read on the way to it counted for more.
    """
    scene = Scene.of(
        (-0.5, 16.0, 0.3), (0.0, 16.0, 0.3), (0.12, level + 0.5, 0.3), (0.2, level + 0.5, 0.3),
        (0.2001, level, 0.3), (0.8, level, 0.3), (0.8001, 16.0, 0.3), (1.3, 16.0, 0.3),
    )  # fmt: skip
    volts = replace(MODEL.voltage[0], resolution=50e-3, noise=0.0, offset=0.0, of_value=0.0)
    model = replace(MODEL, voltage=(volts,), update=update, aperture=0.8 * update)
    for seed in range(SEEDS):
        found = low_state_level(view(scene.read(seed, model, 5e-3), model, 0.0, 0.8))
        assert found.low - 1e-3 <= level <= found.high + 1e-3


@pytest.mark.parametrize("stays", [0.022, 0.03])
@pytest.mark.parametrize("moves_off", [True, False])
def test_what_a_step_begins_with_and_no_reading_shows_is_said(stays: float, moves_off: bool) -> None:
    """12 V before the step, and for a while in it, then a line to 13.8 V: the lower state is 12 V, and no
    reading lies wholly in it. A step that begins with a jump has no such state.
    """
    scene = Scene.of(
        (-0.5, 12.0, 0.3), (stays, 12.0, 0.3), (stays + 0.01, 13.8, 0.3), (0.5, 13.8, 0.3),
        (1.0, 13.8, 0.3),
    )  # fmt: skip
    model = replace(MODEL, update=20e-3, aperture=16e-3)
    hidden = 0
    for seed in range(SEEDS):
        step = view(scene.read(seed, model, 20e-3), model, 0.0, 0.5, moves_off=moves_off)
        try:
            found = low_state_level(step)
        except CannotMeasure:
            continue
        hidden += bool(found.unseen)
        assert not moves_off or found.unseen or found.low <= 12.0 <= found.high
    assert bool(hidden) == moves_off


@pytest.mark.parametrize("period", [3.1e-3, 7.4e-3])
@pytest.mark.parametrize("limited", [True, False])
def test_a_load_that_stops_and_starts_in_the_limit_has_no_level(period: float, limited: bool) -> None:
    """A converter that starts at 8.4 V and stops at 7.6 V, on a supply in its limit all the time: 7.5 V to
    9 V, and the readings are means of it. Held by the supply, the same readings are of a level.
    """
    corners = [(-0.5, 8.2, 0.4)]
    for number in range(int(1.2 / period)):
        start = number * period
        corners += [(start, 7.5, 0.4), (start + 0.6 * period, 9.0, 0.4)]
    scene = Scene.of(*corners, (1.3, 8.2, 0.4))
    model = replace(MODEL, update=50e-3, aperture=40e-3)
    traces = scene.read(2, model, 50e-3)
    mode = Mode.CC if limited else Mode.CV
    known = Traces(traces.time, {**traces.columns, "mode": np.full(traces.time.size, float(mode))})
    step = view(known, model, 0.0, 1.0, stops_at=(7.5, 7.7), starts_at=8.5)
    if limited:
        with pytest.raises(CannotMeasure, match="may stop and start"):
            high_state_level(step)
    else:
        assert high_state_level(step).value == pytest.approx(8.25, abs=0.1)


def steady_from(scene: Scene, end: float) -> float:
    """Last entry of voltage or current into ±2 % or ±10 % of its median over the last third [s]."""
    latest = 0.0
    at = np.linspace(0.0, end, 100_001)
    for channel, part in (("voltage", 0.02), ("current", 0.1)):
        values = scene.at(at, channel)
        level = float(np.median(values[at >= end * 2.0 / 3.0]))
        largest = 0.02 * float(values.max()) if channel == "current" else 0.0
        latest = max(latest, float(at[np.abs(values - level) > max(part * level, largest)].max()))
    return latest


@pytest.mark.parametrize("swing", [0.085, 0.1, 0.115])
@pytest.mark.parametrize("period", [0.23, 0.4])
@pytest.mark.parametrize(("update", "every"), [(50e-3, 20e-3), (50e-3, 50e-3), (10e-3, 10e-3)])
def test_a_current_that_varies_as_much_as_its_band_is_wide(
    swing: float, period: float, update: float, every: float
) -> None:
    """50 mA that goes up and down by 8.5 to 11.5 %: readings over 40 ms cut off its extremes, and the last
    time that it was out of its band was told as within it, 32 ms instead of 327 ms.
    """
    corners = [(-0.5, 0.0, 0.0), (0.0, 0.0, 0.0), (0.02, 5.0, 0.06), (0.0201, 5.0, 0.05)]
    for number in range(int(2.0 * 0.7 / period)):
        up = 1.0 + swing if number % 2 else 1.0 - swing
        corners.append((0.02 + (number + 0.5) * period / 2.0, 5.0, 0.05 * up))
    scene = Scene.of(*corners, (1.0, 5.0, 0.05))
    truth = steady_from(scene, 0.55)
    amps = replace(MODEL.current[0], offset=1e-4, noise=5e-5)
    model = replace(MODEL, current=(amps,), update=update, aperture=0.8 * update, current_bound=None)
    for seed in range(SEEDS):
        try:
            found = start_up_time(view(scene.read(seed, model, every), model, 0.0, 0.55, switched_on=0.0))
        except (CannotMeasure, Beyond):
            continue
        assert found.low - 2e-3 <= truth <= found.high + 2e-3


@pytest.mark.parametrize("period", [5e-3, 13e-3])
def test_a_load_that_hunts_has_no_start_up_time(period: float) -> None:
    """A converter on a supply in its limit: it stops and starts up to the end of the step, and was told to
    have started after 18 ms, from readings that are means of it. The truth itself leaves its band again and
    again.
    """
    corners = [(-0.5, 0.0, 0.0), (0.0, 0.0, 0.0)]
    for number in range(int(0.6 / period)):
        start = 0.02 + number * period
        corners += [(start, 7.5, 0.4), (start + 0.6 * period, 9.0, 0.4)]
    scene = Scene.of(*corners, (0.7, 8.2, 0.4))
    model = replace(MODEL, update=50e-3, aperture=40e-3)
    traces = scene.read(2, model, 20e-3)
    modes = np.where(traces.time < 0.02, float(Mode.CV), float(Mode.CC))
    known = Traces(traces.time, {**traces.columns, "mode": modes})
    step = view(known, model, 0.0, 0.55, switched_on=0.0, goal=12.0, stops_at=(7.5, 7.7), starts_at=8.5)
    with pytest.raises(CannotMeasure, match="may stop and start"):
        start_up_time(step)
    with pytest.raises(Beyond):
        start_up_time(view(scene.truth(), EXACT, 0.0, 0.55, switched_on=0.0, goal=12.0))


@pytest.mark.parametrize("slow", [4e-3, 6e-3, 9e-3])
def test_outputs_that_take_over_from_each_other_make_no_early_start(slow: float) -> None:
    """Two outputs charge an input; one goes into its limit as it is charged, the other sinks what is too
    much, while the load's current settles. Read at different times their sum was in its band 10 ms early.
    """
    ends = 0.15
    at = np.arange(0.0, 0.55, 1e-4)
    load = np.where(at < ends, 0.088, 0.061 + 0.027 * np.exp(-(at - ends) / slow))
    own = np.where(at < ends, 0.044, 0.13)
    scenes = [
        Scene(np.concatenate(([-0.5, -1e-4], at)), np.zeros(at.size + 2), np.concatenate(([0.0, 0.0], amps)))
        for amps in (own, load - own)
    ]
    truth = float(at[np.abs(load - 0.061) > 0.0061].max())
    amps = replace(MODEL.current[0], offset=1e-4, noise=1e-4)
    model = replace(MODEL, current=(amps,), current_bound=None, summed="current", circulating=0.13)
    volts = np.interp(at, [0.0, ends], [0.0, 28.0])
    for seed in range(SEEDS):
        dice = np.random.default_rng(seed)
        asked = np.arange(-0.4, 0.55, 10e-3)
        total = np.zeros(asked.size)
        for scene in scenes:
            phase = dice.uniform(0.0, 10e-3)
            total += scene.mean(np.floor((asked - phase) / 10e-3) * 10e-3 + phase, 8e-3, "current")
        columns = {"voltage": np.interp(asked, at, volts, left=0.0), "current": total}
        found = start_up_time(view(Traces(asked, columns), model, 0.0, 0.5, switched_on=0.0))
        assert found.low - 1e-3 <= truth <= found.high + 1e-3
