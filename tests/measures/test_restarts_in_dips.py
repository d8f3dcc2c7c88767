"""Dips of the voltage that a load rides through on its input capacitor, and such in which it stops, as polled
readings show them. The truth is the scene that the readings are made of, worked out here from
I = P/V + C dV/dt.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.measures.fed import Load, fed
from tests.measures.scene import MODEL, Scene, view

from railwright.measures.outcome import Measured
from railwright.measures.restarts import restarts
from railwright.traces import Traces

POWER = 3.3
"""What the converter draws while it runs [W]."""
BEGINS = 1.0
POLLS = [(7e-3, 0.0), (10e-3, 3e-3), (12e-3, 1e-3), (20e-3, 3e-3)]
"""Time between two polls, and what it jitters by [s]; a new reading comes every 10 ms."""
SEEDS = 12
FEW = 8


def dip(to: float, capacitance: float, away: float = 0.0, lasts: float = 0.1) -> Scene:
    """12 V to a lower voltage and back, as fast as the load takes the capacitor down and 1 V/ms up.

    lasts: from the beginning of the fall to that of the rise [s]. away: how long the load stops from the
    beginning of the dip's floor on [s]; it draws nothing meanwhile.
    """
    # A load of constant power takes C from V0 to V1 in C (V0² - V1²) / 2P; the supply gives nothing then.
    fall = capacitance * (12.0**2 - to**2) / (2.0 * POWER)
    rise = (12.0 - to) / 1000.0
    time = np.concatenate((BEGINS + np.linspace(0.0, fall, 50), [BEGINS + lasts, BEGINS + lasts + rise]))
    volts = np.concatenate((np.sqrt(12.0**2 - 2.0 * POWER * (time[:50] - BEGINS) / capacitance), [to, 12.0]))
    corners = [(0.0, 12.0, POWER / 12.0), (BEGINS - 1e-6, 12.0, POWER / 12.0)]
    corners += [(t, v, 0.0) for t, v in zip(time[:50], volts[:50], strict=True)]
    if away:
        corners.append((time[49] + away, to, 0.0))
    corners += [
        (time[49] + away + 1e-6, to, POWER / to),
        (time[50], to, POWER / to),
        (time[50] + 1e-6, to, POWER / to + capacitance * 1000.0),
        (time[51], 12.0, POWER / 12.0 + capacitance * 1000.0),
        (time[51] + 1e-6, 12.0, POWER / 12.0),
        (3.0, 12.0, POWER / 12.0),
    ]
    return Scene.of(*corners)


def counted(scene: Scene, seed: int, poll: tuple[float, float], capacitance: float) -> Measured:
    traces = scene.read(seed, every=poll[0], jitter=poll[1])
    return restarts(
        replace(
            view(traces, MODEL, 0.1, 2.9, restart=8e-3, stops_at=(5.5, 6.0)),
            capacitance=(0.8 * capacitance, 1.2 * capacitance),
        )
    )


@pytest.mark.parametrize("lasts", [0.04, 0.1])
@pytest.mark.parametrize("poll", POLLS)
@pytest.mark.parametrize("capacitance", [220e-6, 470e-6, 1000e-6])
@pytest.mark.parametrize("to", [9.6, 8.4, 7.2])
def test_a_dip_that_the_load_rides_through_is_no_restart(
    to: float, capacitance: float, poll: tuple[float, float], lasts: float
) -> None:
    scene = dip(to, capacitance, lasts=lasts)
    got = [counted(scene, seed, poll, capacitance).value for seed in range(SEEDS)]
    assert got == [0.0] * SEEDS


@pytest.mark.parametrize("poll", POLLS)
@pytest.mark.parametrize("capacitance", [220e-6, 470e-6])
@pytest.mark.parametrize("to", [9.6, 8.4, 7.2])
def test_a_load_that_stops_in_a_dip_is_counted(
    to: float, capacitance: float, poll: tuple[float, float]
) -> None:
    """A defect, as its voltage is above where it should stop: it is away for 50 ms."""
    scene = dip(to, capacitance, away=50e-3)
    got = [counted(scene, seed, poll, capacitance).value for seed in range(SEEDS)]
    assert got == [1.0] * SEEDS


@pytest.mark.parametrize("soft", [13e-3, 28e-3, 40e-3])
@pytest.mark.parametrize("away", [5e-3, 20e-3])
@pytest.mark.parametrize("after", [10e-3, 20e-3])
def test_closer_polls_after_the_step_show_nothing_of_it(soft: float, away: float, after: float) -> None:
    """Polls 50 ms apart in the step, and closer ones after it: between the first a soft start may be over."""
    load = Load(3.3, 9.0, 6.0, 10e-6, soft)
    known = fed(load, [(-0.3, 12.0), (0.5, 4.0), (0.5 + away, 12.0)], [(-0.3, 3.0)], 6.0)
    assert known.stops_in(0.0, 1.0) == 1
    for seed in range(FEW):
        own, later = (known.read(seed, 0.0, 1.0, update=10e-3, every=each).traces for each in (50e-3, after))
        own, later = own.between(-1.0, 1.0), later.between(1.0, 9.0)
        columns = {name: np.concatenate((own.columns[name], later.columns[name])) for name in own.columns}
        whole = Traces(np.concatenate((own.time, later.time)), columns)
        step = replace(known.read(seed, 0.0, 1.0, update=10e-3, every=50e-3), traces=whole)
        found = restarts(step)
        assert found.value == 1.0 or found.unseen


@pytest.mark.parametrize("limit", [0.9, 1.1, 1.4])
@pytest.mark.parametrize("every", [5e-3, 10e-3, 14e-3])
@pytest.mark.parametrize(("farads", "soft"), [(600e-6, 30e-3), (1500e-6, 30e-3), (600e-6, 12e-3)])
def test_what_charges_the_input_is_no_load_that_has_run(
    limit: float, every: float, farads: float, soft: float
) -> None:
    """On at 0 s in its limit: the capacitor's current ends before that of the soft start is there. Off for 10
    ms at 0.6 s, it stops once, and the charging between stop and start is not the load's either.
    """
    load = Load(22.0, 35.0, 31.0, farads, soft)
    course = [(-0.3, 0.0), (0.0, 48.0), (0.6, 0.0), (0.62, 48.0)]
    known = fed(load, course, [(-0.3, limit)], 1.5, at=1e-3)
    for seed in range(FEW):
        rise, dip = (
            restarts(replace(known.read(seed, *step, update=10e-3, every=every), supplied=(0.0, math.inf)))
            for step in ((0.0, 0.5), (0.5, 1.3))
        )
        assert rise.value <= known.stops_in(0.0, 0.5) == 0
        assert dip.value <= known.stops_in(0.5, 1.3) <= 1


@pytest.mark.parametrize("lasts", [0.025, 0.03, 0.035])
@pytest.mark.parametrize("limit", [0.36, 0.38, 0.42])
@pytest.mark.parametrize("update", [5e-3, 6e-3])
@pytest.mark.parametrize("to", [30.0, 31.4])
def test_a_capacitor_that_is_charged_between_two_polls_gives_that_back(
    lasts: float, limit: float, update: float, to: float
) -> None:
    """27.5 V, up in the limit for some 30 ms, and down again before it is there: the load runs on at what the
    capacitor gained, and polls that leave out every other reading do not show how much that was.
    """
    load = Load(7.9, 34.0, 25.5, 102e-6)
    course = [(-0.3, 27.5), (0.2, 48.0), (0.2 + lasts, to)]
    known = fed(load, course, [(-0.3, limit)], 0.7)
    assert known.stops_in(-0.3, 0.7) == 0
    for seed in range(FEW):
        found = restarts(known.read(seed, 0.0, 0.6, update=update, every=10e-3))
        assert found.value == 0.0


@pytest.mark.parametrize("away", [0.03, 0.06])
@pytest.mark.parametrize("update", [5e-3, 6e-3])
def test_a_load_that_stops_between_such_polls_is_counted(away: float, update: float) -> None:
    """The same input, down to 20 V for a while: it stops, and is back with the voltage."""
    load = Load(7.9, 34.0, 25.5, 102e-6)
    known = fed(load, [(-0.3, 40.0), (0.2, 20.0), (0.2 + away, 40.0)], [(-0.3, 2.0)], 0.7)
    assert known.stops_in(-0.3, 0.7) == 1
    for seed in range(FEW):
        found = restarts(known.read(seed, 0.0, 0.6, update=update, every=10e-3))
        assert found.value == 1.0 or (found.value == 0.0 and found.unseen)


def softly(*stages: tuple[float, float, float, float], capacitance: float) -> Scene:
    """Levels one after another: until when [s], the voltage there [V], and the load's own current at the
    beginning and the end [A], straight in between; beside it flows C dv/dt.
    """
    corners, time, volts = [], 0.0, 0.0
    for until, to, first, last in stages:
        charging = capacitance * (to - volts) / (until - time)
        corners += [(time + 1e-6, volts, first + charging), (until, to, last + charging)]
        time, volts = until, to
    return Scene.of(*corners)


@pytest.mark.parametrize("every", [5e-3, 10e-3, 15e-3])
@pytest.mark.parametrize("soft", [0.025, 0.033])
@pytest.mark.parametrize("capacitance", [500e-6, 961e-6])
def test_a_soft_start_after_the_charging_is_no_restart(every: float, soft: float, capacitance: float) -> None:
    """Switched on, an input is charged to 12 V in 10 ms; its converter starts on the way, softly: what flows
    falls from the charging current to that of the soft start, which was told as one restart for sure.
    """
    until = 0.0066 + soft
    part = 0.57 * (0.0105 - 0.0066) / soft
    scene = softly(
        (0.3, 0.0, 0.0, 0.0), (0.3066, 7.5, 0.0, 0.0), (0.3105, 12.0, 0.0, part),
        (0.3 + until, 12.0, part, 0.57), (0.9, 12.0, 0.57, 0.57), capacitance=capacitance,
    )  # fmt: skip
    for seed in range(SEEDS):
        step = view(
            scene.read(seed, every=every), MODEL, 0.3, 0.7, switched_on=0.3, restart=soft,
            stops_at=(5.6, 5.8), supplied=(0.3, 2.0), capacitance=(0.9 * capacitance, 1.1 * capacitance),
        )  # fmt: skip
        assert restarts(step).value == 0.0


@pytest.mark.parametrize("every", [5e-3, 10e-3])
@pytest.mark.parametrize("slow", [0.04, 0.06])
@pytest.mark.parametrize("away", [0.03, 0.06])
def test_a_dip_in_the_soft_start_after_a_restart_is_no_second_one(
    every: float, slow: float, away: float
) -> None:
    """28 V down to 14 V, where the load stops, and back: its capacitor charges, then it starts softly while
    the supply goes down to 22 V again and its capacitor gives. It stops once.
    """
    soft, farads = 0.03, 764e-6
    turn = 0.5 + slow + away + slow
    scene = softly(
        (0.002, 28.0, 0.3, 0.3), (0.5, 28.0, 0.37, 0.37), (0.5 + slow, 14.0, 0.37, 0.5),
        (0.5 + slow + away, 14.0, 0.0, 0.0), (turn, 26.0, 0.0, 0.0), (turn + 0.6 * soft, 22.0, 0.0, 0.27),
        (turn + soft, 22.0, 0.27, 0.46), (2.0, 22.0, 0.46, 0.46), capacitance=farads,
    )  # fmt: skip
    for seed in range(SEEDS):
        step = view(
            scene.read(seed, every=every), MODEL, 0.3, 1.2, restart=soft, stops_at=(18.0, 18.7),
            capacitance=(0.9 * farads, 1.1 * farads),
        )  # fmt: skip
        assert restarts(step).value == 1.0


@pytest.mark.parametrize("period", [13.1e-3, 22.8e-3, 27e-3])
@pytest.mark.parametrize("update", [20e-3, 50e-3])
def test_a_load_that_hunts_at_one_voltage_of_the_supply_is_not_counted_for_sure(
    period: float, update: float
) -> None:
    """Behind a resistance of 0.5 ohm a converter draws more and more until it stops, and starts again, up to
    30 times in half a second. Its soft start of 20 ms, by which a restart would always show, never ends.
    """
    corners = [(0.0, 3.3, 1.2)]
    for number in range(int(1.0 / period)):
        start = 0.1 + number * period
        corners += [(start, 3.3, 0.1), (start + 0.9 * period, 3.3, 2.4)]
    scene = Scene.of(*corners, (1.2, 3.3, 1.2))
    model = replace(MODEL, update=update, aperture=0.8 * update)
    for seed in range(SEEDS):
        step = view(scene.read(seed, model, update), model, 0.2, 0.9, restart=20e-3, stops_at=(1.8, 1.87))
        found = restarts(step)
        assert found.unseen or found.value >= 0.9 * 0.7 / period


@pytest.mark.parametrize("lasts", [0.015, 0.02, 0.03])
@pytest.mark.parametrize("limit", [0.6, 0.8])
@pytest.mark.parametrize("farads", [3e-3, 5.9e-3])
def test_what_a_capacitor_gives_by_the_end_of_a_reading_counts(
    lasts: float, limit: float, farads: float
) -> None:
    """Polls 50 ms apart of readings every 20 ms: one of them sees the beginning of a dip, and the capacitor
    falls on by as much again until its end, and is charged where no reading shows it.
    """
    load = Load(1.8, 3.8, 2.0, farads)
    known = fed(load, [(-0.3, 5.0), (0.2, 3.2), (0.2 + lasts, 5.0)], [(-0.3, limit)], 0.8)
    assert known.stops_in(-0.3, 0.8) == 0
    for seed in range(SEEDS):
        assert restarts(known.read(seed, 0.0, 0.7, update=20e-3, every=50e-3)).value == 0.0


@pytest.mark.parametrize("currents", [(0.48, 0.49, 1.3, 0.6), (0.5, 1.0), (1.2, 0.45, 0.45)])
@pytest.mark.parametrize("lasts", [0.04, 0.06])
@pytest.mark.parametrize("at", [0.2, 0.25, 0.31])
def test_a_capacitor_feeds_a_load_that_varies(currents: tuple[float, ...], lasts: float, at: float) -> None:
    """What it draws beside the dip is not what it draws in it: at least its least, which the voltage shows
    that the capacitor gave.
    """
    load = Load(0.0, 3.7, 2.5, 40e-3, currents=currents)
    known = fed(load, [(-0.3, 5.0), (at, 1.0), (at + lasts, 5.0)], [(-0.3, 6.0)], 1.3)
    assert known.stops_in(-0.3, 1.3) == 0
    for seed in range(FEW):
        assert restarts(known.read(seed, 0.0, 1.2, update=50e-3, every=5e-3)).value == 0.0


@pytest.mark.parametrize("currents", [(0.48, 0.49, 1.3, 0.6), (0.5, 1.0)])
def test_a_load_that_varies_and_stops_is_counted(currents: tuple[float, ...]) -> None:
    """The same, with a capacitor that does not hold it: its voltage goes to where the load stops."""
    load = Load(0.0, 3.7, 2.5, 3e-3, currents=currents)
    known = fed(load, [(-0.3, 5.0), (0.2, 1.0), (0.35, 5.0)], [(-0.3, 6.0)], 1.3)
    assert known.stops_in(-0.3, 1.3) == 1
    for seed in range(FEW):
        assert restarts(known.read(seed, 0.0, 1.2, update=20e-3, every=20e-3)).value == 1.0


@pytest.mark.parametrize("slope", [10.0, 20.0, 40.0])
@pytest.mark.parametrize("first", [0.0, 1e-3])
@pytest.mark.parametrize("power", [3.6, 7.0])
@pytest.mark.parametrize("microfarads", [1.0, 10.0, 47.0])
def test_a_small_capacitor_explains_no_stop_beside_a_soft_start(
    slope: float, first: float, power: float, microfarads: float
) -> None:
    """Draw 121/126: a slow fall to below 8 V and back. What the load draws more on the way down is no charge
    of the capacitor, which holds a hundredth of what it misses while it is away.
    """
    soft, low, farads = 40e-3, 8.0, microfarads * 1e-6
    falls = BEGINS + (12.0 - low) / slope
    away = falls + 40e-3
    rises = away + 8e-3

    def volts(time: float) -> float:
        return max(low, 12.0 - slope * (time - BEGINS)) if time < rises else low + slope * (time - rises)

    def running(begin: float, end: float, scale: float = 1.0) -> list[tuple[float, float, float]]:
        return [(t, volts(t), scale * power / volts(t)) for t in np.linspace(begin, end, 40)]

    stop = falls - 0.75 * soft if first else falls
    corners = [(0.0, 12.0, power / 12.0), *running(BEGINS, stop)]
    if first:  # gone for a moment, and back with its soft start, which is not over as it stops again
        corners += [(stop + 1e-6, volts(stop), 0.0), (stop + first, volts(stop + first), 0.0)]
        corners.append((falls, low, 0.75 * power / low))
    corners += [(falls + 1e-6, low, 0.0), (away, volts(away), 0.0)]
    back = max(away + soft, rises + 1e-3)
    corners.append((back, volts(back), power / volts(back)))
    up = rises + (12.0 - low) / slope
    corners += [*running(back + 1e-6, up), (up + 1e-3, 12.0, power / 12.0), (3.0, 12.0, power / 12.0)]
    scene = Scene.of(*corners)
    for update, every in ((10e-3, 10e-3), (20e-3, 10e-3), (20e-3, 20e-3)):
        model = replace(MODEL, update=update, aperture=0.8 * update)
        for seed in range(3):
            traces = scene.read(seed, model, every)
            read = view(traces, model, 0.1, 2.9, every=every, restart=soft, stops_at=(7.68, 8.0))
            found = restarts(replace(read, capacitance=(0.9 * farads, 1.1 * farads)))
            assert found.value >= 1.0 or found.unseen
