"""Dips of the voltage that a load rides through on its input capacitor, and such in which it stops, as polled
readings show them. The truth is the scene that the readings are made of, worked out here from
I = P/V + C dV/dt.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.measures.scene import MODEL, Scene, view

from railwright.measures.outcome import Measured
from railwright.measures.restarts import restarts

POWER = 3.3
"""What the converter draws while it runs [W]."""
BEGINS = 1.0
POLLS = [(7e-3, 0.0), (10e-3, 3e-3), (12e-3, 1e-3), (20e-3, 3e-3)]
"""Time between two polls, and what it jitters by [s]; a new reading comes every 10 ms."""
SEEDS = 25


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
