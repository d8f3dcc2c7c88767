"""Loads that stop close before a step ends, and loads that stop and start within their readings in one step
as in another: what a count of restarts says of them. The truth is worked out beside the program (`fed.py`).
"""

from __future__ import annotations

import numpy as np
import pytest
from tests.measures.fed import TICK, Fed, Load, fed
from tests.measures.scene import Scene

from railwright.measures.restarts import restarts
from railwright.traces import Mode

SEEDS = 12
END = 0.5


@pytest.mark.parametrize("update", [10e-3, 20e-3])
@pytest.mark.parametrize("before", [1.85, 2.0, 2.2, 2.5])
@pytest.mark.parametrize(
    ("load", "volts", "low"),
    [
        (Load(4.6, 7.9, 6.4, 23.5e-6, 11e-3), 12.0, 5.95),
        (Load(3.0, 3.4, 2.8, 100e-6, 4e-3), 5.0, 2.2),
        (Load(20.0, 38.0, 33.0, 10e-6, 20e-3), 48.0, 20.0),
    ],
)
def test_a_load_that_stops_before_the_end_counts_in_the_step(
    load: Load, volts: float, low: float, before: float, update: float
) -> None:
    """Farther from the end than an update and an aperture: a reading of the step has seen part of it."""
    stops = END - before * update
    known = fed(load, [(-0.3, volts), (stops, low), (END + 0.2, volts)], [(-0.3, 5.0)], 1.0)
    assert known.stops_in(0.0, END - 1.8 * update) == known.stops_in(0.0, 1.0) == 1
    for seed in range(SEEDS):
        found = restarts(known.read(seed, 0.0, END, update=update, every=10e-3))
        assert found.value == 1.0


@pytest.mark.parametrize("update", [10e-3, 20e-3])
@pytest.mark.parametrize("farads", [220e-6, 470e-6])
@pytest.mark.parametrize("before", [3e-3, 8e-3, 15e-3])
def test_what_the_next_step_does_is_none_of_this_one(farads: float, before: float, update: float) -> None:
    """Down to where the load runs on, close before the end, and to where it stops with the next step."""
    load = Load(3.3, 8.0, 6.0, farads, 11e-3)
    known = fed(load, [(-0.3, 12.0), (END - before, 9.0), (END, 5.0), (END + 0.2, 12.0)], [(-0.3, 3.0)], 1.0)
    assert known.stops_in(0.0, END) == 0
    assert known.stops_in(0.0, 1.0) == 1
    for seed in range(SEEDS):
        assert restarts(known.read(seed, 0.0, END, update=update, every=10e-3)).value == 0.0


HUNTS = Load(10.8, 2.44, 1.83, 4.2e-3, 20.4e-3)
"""Behind 0.27 Ω it stops in its soft start, or right after it: 3.3 V carry 10 W at most."""


def behind(load: Load, ohms: float, course: list[tuple[float, float]], end: float) -> Fed:
    """On a lead of some resistance, from -0.3 s on at the first voltage; what is read is the supply's own
    voltage, which stays. Worked out in small steps of time.
    """
    time = np.arange(-0.3, end, TICK)
    starts, levels = np.array(course).T
    wanted = levels[np.maximum(0, np.searchsorted(starts, time, side="right") - 1)]
    amps, stopped = np.empty(time.size), []
    across, running, ran = float(wanted[0]), True, 0.0
    for place, volts in enumerate(wanted):
        ran = ran + TICK if running else 0.0
        draws = load.draws(across, float(time[place]), ran) if running else 0.0
        flows = (volts - across) / ohms
        across += TICK * (flows - draws) / load.farads
        goes_on = across > (load.stops if running else load.starts)
        if running and not goes_on:
            stopped.append(float(time[place]))
        running, amps[place] = goes_on, flows
    modes = np.full(time.size, float(Mode.CV))
    return Fed(load, Scene(time, wanted, amps), modes, tuple(stopped), course)


@pytest.mark.parametrize("lasts", [0.1, 0.12, 0.15])
@pytest.mark.parametrize(
    ("load", "volts", "low", "ohms"),
    [
        (HUNTS, 3.3, 2.2, 0.27),
        (Load(12.5, 2.44, 1.83, 4.2e-3, 20.4e-3), 3.3, 2.2, 0.27),
        (Load(42.0, 9.0, 6.8, 1.1e-3, 20e-3), 12.0, 6.5, 0.9),
        (Load(13.5, 3.7, 2.8, 3.0e-3, 18e-3), 5.0, 2.6, 0.5),
    ],
)
def test_a_load_that_hunts_in_another_step_is_not_counted_for_sure(
    load: Load, volts: float, low: float, ohms: float, lasts: float
) -> None:
    """It hunts for 1 s before, at the same voltage of the supply, where readings are many enough to tell; of
    the short stretch between two low levels they are not.
    """
    course = [(-0.3, volts), (1.0, low), (1.1, volts), (1.1 + lasts, low)]
    known = behind(load, ohms, course, 1.6)
    assert known.stops_in(0.0, 1.0) > 20
    stops = known.stops_in(1.0, 1.5)
    assert stops > 2
    for seed in range(SEEDS):
        found = restarts(known.read(seed, 1.0, 1.5, update=20e-3, every=20e-3))
        assert found.unseen or found.value == stops


@pytest.mark.parametrize("lasts", [0.1, 0.15])
def test_a_load_that_runs_in_every_step_is_counted_for_sure(lasts: float) -> None:
    """What it draws is the same all the time that its supply's voltage is: it always shows."""
    load = Load(3.0, 2.44, 1.83, 4.2e-3, 40e-3)
    known = behind(load, 0.27, [(-0.3, 3.3), (1.0, 1.6), (1.1, 3.3), (1.1 + lasts, 1.6), (1.5, 3.3)], 2.0)
    stops = known.stops_in(0.0, 1.5)
    assert stops == known.stops_in(1.0, 1.5) == 2
    for seed in range(SEEDS):
        found = restarts(known.read(seed, 1.0, 1.5, update=10e-3, every=10e-3))
        assert (found.value, found.unseen) == (2.0, "")


@pytest.mark.parametrize("update", [8e-3, 10e-3])
@pytest.mark.parametrize("lasts", [0.04, 0.06, 0.08])
@pytest.mark.parametrize(
    ("load", "volts", "low", "weak", "ohms"),
    [
        (HUNTS, 4.6, 2.2, 3.3, 0.27),
        (Load(12.5, 2.44, 1.83, 4.2e-3, 20.4e-3), 5.0, 2.2, 3.3, 0.27),
        (Load(42.0, 9.0, 6.8, 1.1e-3, 20e-3), 15.0, 6.5, 12.0, 0.9),
        (Load(13.5, 3.7, 2.8, 3.0e-3, 18e-3), 7.0, 2.6, 5.0, 0.5),
    ],
)
def test_a_load_that_stops_again_in_its_soft_start_is_not_counted_for_sure(
    load: Load, volts: float, low: float, weak: float, ohms: float, lasts: float, update: float
) -> None:
    """It runs at one voltage, stops at a lower one, and starts and stops on a weak supply in between, within
    readings, before it runs again. Draw 65/11 counted one of three stops for sure: a wrong pass.
    """
    course = [(-0.3, volts), (0.3, low), (0.4, weak), (0.4 + lasts, volts)]
    known = behind(load, ohms, course, 1.2)
    stops = known.stops_in(0.0, 1.0)
    assert stops >= 2
    for seed in range(SEEDS):
        found = restarts(known.read(seed, 0.0, 1.0, update=update, every=update))
        assert found.unseen or found.value == stops
