"""What looked like a stop, a level or a turn-off and was none, as the disagreement hunt found it.

The truth is the scene that the readings are made of, worked out here in closed form (I = P/V, and a load that
stops or does not); the readings are means over apertures (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from tests.measures.scene import MODEL, Scene, brown_out, view

from railwright.measures.integral import mean_current, mean_voltage
from railwright.measures.outcome import CannotMeasure, Measured
from railwright.measures.restarts import restarts
from railwright.measures.signal import View
from railwright.measures.start_up_time import start_up_time
from railwright.measures.state_level import low_state_level
from railwright.measures.turning import turn_off_voltage
from railwright.traces import Traces

SEEDS = 20


def levels(*parts: tuple[float, float, float]) -> Scene:
    """Levels one after another: how long each lasts [s], its voltage [V] and its current [A]."""
    corners, time = [], 0.0
    for lasts, volts, amperes in parts:
        corners += [(time + 1e-6, volts, amperes), (time + lasts, volts, amperes)]
        time += lasts
    return Scene.of(*corners)


@pytest.mark.parametrize("low", [12.0, 14.0, 8.0])
@pytest.mark.parametrize("between", [0.03, 0.045, 0.2])
@pytest.mark.parametrize("every", [5e-3, 10e-3, 20e-3])
def test_a_load_of_constant_power_draws_less_between_two_dips(
    low: float, between: float, every: float
) -> None:
    """At 24 V it draws P / 24 V, less than half of P / V at the lower voltage, and runs on: no restart."""
    power = 6.0
    dip = (0.2, low, power / low)
    scene = levels((0.5, 24.0, 0.25), dip, (between, 24.0, 0.25), dip, (0.5, 24.0, 0.25))
    for seed in range(SEEDS):
        read = scene.read(seed, every=every)
        step = view(read, MODEL, 0.1, 0.7 + between / 2.0, restart=0.03, stops_at=(5.0, 5.5))
        assert restarts(replace(step, capacitance=(4e-6, 5e-6))).value == 0.0


@pytest.mark.parametrize("least", [0.1, 0.15, 0.2])
@pytest.mark.parametrize("away", [0.03, 0.2])
def test_a_low_stage_before_a_drop_out_is_none_of_it(least: float, away: float) -> None:
    """The load runs at its least until the step ends; what the next step does takes it down."""
    scene = levels((0.5, 12.0, 0.5), (0.05, 12.0, least), (away, 2.0, 0.0), (0.5, 12.0, 0.5))
    running = tuple((volts, least) for volts in (1.0, 6.0, 12.0, 16.0))
    for seed in range(SEEDS):
        read = scene.read(seed)
        both = [
            restarts(
                replace(
                    view(read, MODEL, start, end, restart=0.03, stops_at=(5.0, 5.5), least_running=running),
                    capacitance=(4e-6, 5e-6),
                )
            )
            for start, end in ((0.1, 0.55), (0.55, 1.0))
        ]
        assert both[0].value == 0.0
        assert both[0].unseen
        assert both[1].value == 1.0


@pytest.mark.parametrize("taken_over_in", [1e-3, 5e-3])
@pytest.mark.parametrize("every", [5e-3, 10e-3])
def test_outputs_that_take_over_from_each_other_are_no_drop_out(taken_over_in: float, every: float) -> None:
    """One output's current goes over to the other; their sum is 0.5 A all the time. Each is read at a phase
    of its own, so that the sums can fall to nothing for a reading.
    """
    begins = 0.4
    time = np.array([0.0, begins, begins + taken_over_in, 1.0])
    shares = [np.array([0.5, 0.5, 0.0, 0.0]), np.array([0.0, 0.0, 0.5, 0.5])]
    model = replace(MODEL, summed="current")
    for seed in range(SEEDS):
        dice = np.random.default_rng(seed)
        asked = np.arange(0.03, 0.9, every)
        amps = np.zeros(asked.size)
        for share in shares:
            phase = dice.uniform(0.0, 10e-3)
            ends = np.floor((asked - phase) / 10e-3) * 10e-3 + phase
            amps += Scene(time, share, share).mean(ends, 8e-3, "current")
        read = Traces(asked, {"voltage": np.full(asked.size, 12.0), "current": amps})
        found = restarts(view(read, model, 0.1, 0.8, restart=0.03, stops_at=(5.0, 5.5)))
        assert found.value == 0.0


@pytest.mark.parametrize("away", [0.03, 0.06])
@pytest.mark.parametrize("shares", [(0.5, 0.5), (0.8, 0.2)])
def test_a_load_that_stops_behind_several_outputs_is_counted(away: float, shares: tuple[float, ...]) -> None:
    """Both outputs' currents end: no taking over explains that."""
    scene = levels((0.4, 12.0, 0.5), (away, 12.0, 0.0), (0.5, 12.0, 0.5))
    for seed in range(SEEDS):
        dice = np.random.default_rng(seed)
        asked, amps = np.arange(0.03, 0.85, 5e-3), 0.0
        for share in shares:
            phase = dice.uniform(0.0, 10e-3)
            ends = np.floor((asked - phase) / 10e-3) * 10e-3 + phase
            amps = amps + share * scene.mean(ends, 8e-3, "current")
        read = Traces(asked, {"voltage": np.full(asked.size, 12.0), "current": np.asarray(amps)})
        found = restarts(
            view(read, replace(MODEL, summed="current"), 0.1, 0.8, restart=0.03, stops_at=(5.0, 5.5))
        )
        assert found.value == 1.0 or found.unseen
        assert found.value <= 1.0


@pytest.mark.parametrize("stops", [5.5, 6.5, 7.0])
@pytest.mark.parametrize("deep", [0.1, 0.15])
def test_a_load_that_is_soon_back_stopped_all_the_same(stops: float, deep: float) -> None:
    """12 V to a floor and back at 10 V/s: it stops on the way down, and is back within 40 ms. Its turn-off
    voltage is where it stopped, and the current after that is none.
    """
    slope, power, floor = 10.0, 2.4, stops - deep
    down, up = 0.5 + (12.0 - stops) / slope, 0.5 + (12.0 - floor) / slope
    starts = stops + 0.1
    on = up + (starts - floor) / slope
    back = up + (12.0 - floor) / slope
    falling = np.linspace(12.0, stops, 40)
    rising = np.linspace(starts, 12.0, 40)
    corners = [(0.0, 12.0, power / 12.0)]
    corners += [(0.5 + (12.0 - v) / slope, v, power / v) for v in falling]
    corners += [(down + 1e-5, stops, 0.0), (up, floor, 0.0), (on, starts, 0.0)]
    corners += [(up + (v - floor) / slope + 1e-5, v, power / v) for v in rising]
    corners += [(back + 0.6, 12.0, power / 12.0)]
    scene = Scene.of(*corners)
    outside = 0
    for seed in range(SEEDS):
        try:
            found = turn_off_voltage(view(scene.read(seed), MODEL, 0.2, back + 0.5))
        except CannotMeasure:
            continue
        outside += not found.low <= stops <= found.high
    assert outside <= 3  # of 20 at 95 %: more are improbable, 1.6 % (binomial)


def test_a_slow_brown_out_is_still_measured() -> None:
    """What is taken away above must not take this away."""
    found = turn_off_voltage(view(brown_out(7.6, 8.4).read(1), MODEL, 0.2, 5.2))
    assert found.low <= 7.6 <= found.high


@pytest.mark.parametrize("rate", [10.0, 30.0, 60.0, 92.0])
@pytest.mark.parametrize("every", [10e-3, 20e-3])
@pytest.mark.parametrize("after", [0.1, 1.0])
def test_a_load_of_constant_power_draws_more_up_to_its_stop(rate: float, every: float, after: float) -> None:
    """From 12 V down at a rate to 5.5 V, where it stops; the voltage then falls on, or ten times as slowly.
    Its current there is P / 5.5 V, and not what it was 25 ms before: that moved the instant of the stop.
    """
    power, stops = 2.5, 5.5
    falls = (12.0 - stops) / rate
    volts = [12.0 - (12.0 - stops) * part / 200 for part in range(201)]
    corners = [(0.0, 12.0, power / 12.0)]
    corners += [(0.3 + falls * n / 200, each, power / each) for n, each in enumerate(volts)]
    end = 0.3 + falls
    low = max(0.5, stops - after * rate * 0.1)
    corners += [(end + 1e-6, stops, 0.0), (end + 0.1, low, 0.0), (end + 0.3, low, 0.0)]
    scene = Scene.of(*corners)
    seen = 0
    for seed in range(2 * SEEDS):
        read = scene.read(seed, every=every)
        found = turn_off_voltage(view(read, MODEL, 0.1, end + 0.25, restart=0.03, stops_at=(5.3, 5.7)))
        seen += found.low <= stops <= found.high
    assert seen >= 0.9 * 2 * SEEDS


@pytest.mark.parametrize("middle", [9.0, 9.2, 8.9])
def test_a_level_near_the_middle_of_the_range_is_no_state(middle: float) -> None:
    """12 V, 9 V and 8 ms at 5 V: the range is 5 V to 12 V, its middle 8.5 V, so that 9 V is no lower state.
    Readings average over 8 ms: their lowest may be 7.5 V, and 9 V would be the lower of two states.
    """
    scene = levels((0.4, 12.0, 0.3), (0.3, middle, 0.3), (8e-3, 5.0, 0.3), (0.4, 12.0, 0.3))
    for seed in range(SEEDS):
        try:
            found = low_state_level(view(scene.read(seed), MODEL, 0.1, 1.0))
        except CannotMeasure:
            continue
        assert not found.low <= middle <= found.high


@pytest.mark.parametrize("lasts", [0.012, 0.015, 0.017])
def test_a_step_without_a_whole_reading_has_no_mean(lasts: float) -> None:
    """A reading averages over 8 ms every 10 ms: in less than 18 ms none lies wholly for sure."""
    scene = levels((0.3, 12.0, 1.0), (lasts, 12.0, 0.2), (0.3, 12.0, 0.6))
    for seed in range(SEEDS):
        with pytest.raises(CannotMeasure):
            mean_current(view(scene.read(seed, every=5e-3), MODEL, 0.3, 0.3 + lasts))


def test_a_load_that_restarts_for_ever_has_not_started_up() -> None:
    """The supply is in its limit and out of it at every other answer, while means over whole periods are the
    same.
    """
    time = np.arange(0.005, 0.5, 0.01)
    on = time > 0.1
    modes = np.where(np.arange(time.size) % 2 == 0, 1.0, 2.0)
    read = Traces(
        time, {"voltage": np.where(on, 11.0, 0.0), "current": np.where(on, 0.9, 0.0), "mode": modes}
    )
    with pytest.raises(CannotMeasure, match="into its limit"):
        start_up_time(view(read, MODEL, 0.1, 0.45, switched_on=0.1, goal=12.0))


@pytest.mark.parametrize("lasts", [0.01, 0.02, 0.03])
@pytest.mark.parametrize("measure", [mean_voltage, mean_current, low_state_level])
def test_a_level_between_two_polls_is_said_to_be_unseen(
    measure: Callable[[View], Measured], lasts: float
) -> None:
    """12 V with 4 V for a while, read every 50 ms where a new reading comes every 10 ms: it falls between two
    readings, and no upper limit is passed, and no state is the lower one for sure.
    """
    scene = levels((0.41, 12.0, 0.3), (lasts, 4.0, 0.1), (0.4, 12.0, 0.3))
    for seed in range(SEEDS):
        step = view(scene.read(seed, every=0.05), MODEL, 0.1, 0.7)
        try:
            assert measure(replace(step, stands=lasts)).unseen
        except CannotMeasure:
            continue
        stands = measure(replace(step, stands=0.3))
        # All that apertures of a sixth of the time leave open of a current is bounded.
        assert stands.enclosed if measure is mean_current else not stands.unseen
