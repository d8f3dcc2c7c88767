"""A load that the supply cannot feed stops and starts again and again: what readings tell of that.

The truth is worked out beside the program, in small steps of time (`fed.py`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from tests.measures.fed import TICK, Fed, Load, fed
from tests.measures.scene import Scene
from tests.measures.test_few_readings import mode_of_half

from railwright.measures.integral import charge, energy, mean_current, mean_power
from railwright.measures.outcome import Beyond, CannotMeasure, Measured
from railwright.measures.signal import View
from railwright.measures.state_level import high_state_level, low_state_level
from railwright.measures.turning import turn_off_voltage
from railwright.traces import Traces

SEEDS = 12

HEAVY = Load(37.0, 18.8, 15.2, 94e-6)
"""Restarts every few milliseconds."""
SLOW = Load(1.9, 10.5, 7.0, 330e-6)
"""Restarts every 20 ms or so."""
QUICK = Load(4.5, 16.9, 14.0, 20e-6)
"""Restarts every few milliseconds, in the limit for some of them and out of it for others."""
SOFT = Load(5.0, 16.7, 14.7, 5e-6, 35e-3)
"""Is fed for most of its soft start, and falls at its end."""


def starves(load: Load, volts: float, part: float) -> Fed:
    """Limited from 0 s on to a part of what the load draws at its set point."""
    enough = 3.0 * load.power / load.stops
    return fed(load, [(-0.3, volts)], [(-0.3, enough), (0.0, part * load.power / volts)], 0.5)


def read(of: Fed, seed: int, update: float, every: float) -> View:
    """The step lasts from 0 s to 0.4 s."""
    own = of.read(seed, 0.0, 0.4, update=update, every=every)
    return replace(own, goal=float(of.scene.voltage[0]))


def period(scene: Scene) -> float:
    """Of the voltage's cycles towards the end [s]."""
    late = scene.voltage[scene.time > 0.2]
    lows = np.flatnonzero((late[1:-1] < late[:-2]) & (late[1:-1] <= late[2:]))
    return float(np.mean(np.diff(lows))) * TICK


@pytest.mark.parametrize("part", [0.9, 0.97])
@pytest.mark.parametrize("volts", [20.0, 24.0])
@pytest.mark.parametrize("update", [20e-3, 40e-3, 50e-3])
def test_a_mean_of_what_swings_is_no_level(volts: float, part: float, update: float) -> None:
    known = starves(HEAVY, volts, part)
    truth = mode_of_half(known.scene, 0.4, True)
    for seed in range(SEEDS):
        try:
            found = high_state_level(read(known, seed, update, update))
        except CannotMeasure:
            continue
        assert found.low <= truth <= found.high


@pytest.mark.parametrize("part", [0.8, 0.9])
@pytest.mark.parametrize(
    ("load", "cycles", "fast"),
    [
        (SLOW, 1.03, True),
        (SLOW, 2.06, True),
        (SLOW, 2.97, True),
        (SLOW, 1.06, False),
        (QUICK, 2.03, False),
        (QUICK, 1.02, False),
    ],
)
@pytest.mark.parametrize("measure", [energy, mean_power, charge, mean_current])
def test_what_readings_do_not_meet_of_a_load_that_restarts_is_said(
    measure: object, load: Load, cycles: float, fast: bool, part: float
) -> None:
    """Polls that find it at nearly the same part of its cycle each time, of readings that are new every 10 ms
    or as often as they are polled.
    """
    known = starves(load, 12.0 if load is SLOW else 20.0, part)
    scene, every = known.scene, cycles * period(known.scene)
    inside = (scene.time >= 0.0) & (scene.time <= 0.4)
    amps, volts = scene.current[inside], scene.voltage[inside]
    truth = {
        "energy": float(np.sum(amps * volts) * TICK),
        "mean_power": float(np.mean(amps * volts)),
        "charge": float(np.sum(amps) * TICK),
        "mean_current": float(np.mean(amps)),
    }[measure.name]  # type: ignore[attr-defined]
    for seed in range(SEEDS):
        found: Measured = measure(read(known, seed, 10e-3 if fast else every, every))  # type: ignore[operator]
        assert found.unseen or found.low <= truth <= found.high


@pytest.mark.parametrize(
    ("load", "volts", "part", "update", "every"),
    [
        (Load(8.467834, 12.747776, 10.418307, 127.292e-6, 6.349e-3), 22.688808, 0.530198, 5e-3, 10.5e-3),
        (Load(4.943294, 12.884565, 11.301807, 501.102e-6), 21.046739, 0.985436, 5e-3, 5e-3),
        (Load(32.932385, 14.09777, 9.011853, 398.645e-6), 16.466251, 0.722618, 20e-3, 20e-3),
        (Load(2.13125, 10.231339, 6.60343, 134.192e-6), 12.29371, 0.464994, 50e-3, 105e-3),
        (Load(16.505064, 21.893353, 14.79469, 130.201e-6), 23.212239, 0.797309, 50e-3, 105e-3),
    ],
)
@pytest.mark.parametrize("high", [True, False])
def test_no_level_is_read_at_one_part_of_each_cycle(
    load: Load, volts: float, part: float, update: float, every: float, high: bool
) -> None:
    """Readings of about the same voltage, none right after another, or while it rises: the first one is read
    at 12.3 V and 13.8 V in turn, always in the limit, of what lies between 10.4 V and 14.3 V.
    """
    known = starves(load, volts, part)
    truth = mode_of_half(known.scene, 0.4, high)
    for seed in range(SEEDS):
        try:
            found = (high_state_level if high else low_state_level)(read(known, seed, update, every))
        except CannotMeasure:
            continue
        assert found.unseen or found.low <= truth <= found.high


@pytest.mark.parametrize("part", [0.8, 0.95])
@pytest.mark.parametrize(("load", "volts"), [(HEAVY, 24.0), (SLOW, 12.0), (SOFT, 17.0), (SOFT, 19.0)])
@pytest.mark.parametrize("update", [10e-3, 20e-3])
def test_a_load_that_restarts_has_no_turn_off_voltage(
    load: Load, volts: float, part: float, update: float
) -> None:
    """Its voltage is no ramp that the supply plays; a value that is far from where it stops was told."""
    known = starves(load, volts, part)
    for seed in range(SEEDS):
        try:
            found = turn_off_voltage(read(known, seed, update, 10e-3))
        except (CannotMeasure, Beyond):
            continue
        assert found.low <= load.stops <= found.high


@pytest.mark.parametrize("measure", [charge, mean_current])
def test_a_current_is_measured_where_no_voltage_is_known(measure: Callable[[View], Measured]) -> None:
    """A status beside it asks for no voltage that is not there."""
    own = read(fed(SLOW, [(-0.3, 12.0)], [(-0.3, 1.0)], 0.5), 1, 10e-3, 10e-3)
    columns = {name: own.traces.columns[name] for name in ("current", "mode")}
    found = measure(replace(own, traces=Traces(own.traces.time, columns)))
    steady = 1.9 / 12.0
    assert found.value == pytest.approx(steady * (0.4 if measure.name == "charge" else 1.0), rel=0.05)  # type: ignore[attr-defined]


@pytest.mark.parametrize("every", [10e-3, 50e-3])
def test_what_is_fed_as_it_should_is_told_as_before(every: float) -> None:
    """A limit that the load stays below: nothing hides, but where apertures cover a sixth of the time."""
    own = read(fed(SLOW, [(-0.3, 12.0)], [(-0.3, 1.0), (0.0, 0.5)], 0.5), 1, 10e-3, every)
    assert bool(energy(own).unseen) == (every > 16e-3)
    assert high_state_level(own).value == pytest.approx(12.0, abs=0.02)
