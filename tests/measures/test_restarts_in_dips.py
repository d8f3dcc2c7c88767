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
