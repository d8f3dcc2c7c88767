"""A load that pauses by itself: the end of a burst is no stop, and the current that its capacitors give back
while the voltage falls tells nothing of it. The truth is the scene's own: where it stops is chosen.
"""

from __future__ import annotations

import pytest
from tests.measures.scene import EXACT, MODEL, Scene, view

from railwright.measures.outcome import CannotMeasure
from railwright.measures.restarts import restarts
from railwright.measures.turning import turn_off_voltage, turn_on_voltage

PAUSES = ((1.0, 0.0), (4.0, 0.0), (5.5, 0.0))
"""What a profile with pauses of no current draws at least (V, A)."""


def bursts(rest: float, falling: float, stops: float, at: float = 0.8, amperes: float = 0.18) -> Scene:
    """5 V down to 3 V at 1 V/s from 2 s on, and back from 5 s on: `rest` [A] is drawn besides, `falling` on
    the way down. A burst of 60 ms each second, `at` of it [s], until the load stops at `stops` [V].
    """
    stop, start = 2.0 + (5.0 - stops), 5.0 + (4.3 - 3.0)

    def volts(time: float) -> float:
        return 5.0 - min(2.0, max(0.0, time - 2.0)) + min(2.0, max(0.0, time - 5.0))

    def low(time: float) -> float:
        return falling if 2.0 < time < 4.0 else rest

    times = sorted({0.0, 2.0, 2.0001, 3.9999, 4.0, 5.0, 7.0, 8.0, *(n + at for n in range(8))})
    corners = []
    for time in times:
        corners.append((time, volts(time), low(time)))
        if time % 1.0 == pytest.approx(at) and not stop < time < start:
            over = min(time + 0.06, stop) if time < stop else time + 0.06
            corners += [
                (time + 1e-5, volts(time), low(time) + amperes),
                (over, volts(over), low(over) + amperes),
                (over + 1e-5, volts(over), low(over)),
            ]
    return Scene.of(*sorted(corners))


@pytest.mark.parametrize("falling", [-4e-3, -8e-3, -20e-3, 0.02, 0.0])
@pytest.mark.parametrize("at", [0.8, 0.3])
@pytest.mark.parametrize("every", [10e-3, 20e-3])
def test_the_end_of_a_burst_is_no_stop(falling: float, at: float, every: float) -> None:
    """It stops at 3.5 V, in a pause; the last burst before it ended elsewhere."""
    scene = bursts(0.02, falling, 3.5, at)
    for seed in range(5):
        read = scene.read(seed, every=every)
        own = view(read, MODEL, 0.5, 7.9, least_running=PAUSES, stops_at=(3.4, 3.6), capacitance=(0.4, 0.6))
        for measure in (turn_off_voltage, turn_on_voltage):
            with pytest.raises(CannotMeasure):
                measure(own)
        assert restarts(own).value == 0.0 or restarts(own).unseen


@pytest.mark.parametrize(("given", "runs"), [(0.05, 0.1), (0.08, 0.1), (0.1, 0.15)])
def test_what_a_capacitor_gives_back_is_no_stop(given: float, runs: float) -> None:
    """It draws 0.1 A at least and never stops: on a ramp of 1 V/s a capacitor of 0.1 F gives it 0.1 A."""
    scene = bursts(runs, runs - given, 0.0, amperes=0.5)
    floor = tuple((volts, 0.1) for volts in (1.0, 5.5))
    for seed in range(5):
        own = view(
            scene.read(seed),
            MODEL,
            0.5,
            7.9,
            least_running=floor,
            stops_at=(2.5, 2.8),
            capacitance=(0.08, 0.11),
        )
        with pytest.raises(CannotMeasure):
            turn_off_voltage(own)


@pytest.mark.parametrize("stops", [3.9, 3.5, 3.2])
def test_a_stop_after_a_burst_is_not_taken_for_its_end(stops: float) -> None:
    """It draws 0.1 A between bursts of 1 A, then nothing: which fall is the stop, readings do not tell."""
    scene = bursts(0.1, 0.1, stops, amperes=1.0)
    stop = 2.0 + 5.0 - stops
    time, amps = list(scene.time), list(scene.current)
    amps = [0.0 if stop < t < 6.3 else a for t, a in zip(time, amps, strict=True)]
    scene = Scene.of(*zip(time, scene.voltage, amps, strict=True))
    floor = tuple((volts, 0.1) for volts in (1.0, 5.5))
    for seed in range(5):
        own = view(scene.read(seed), MODEL, 0.5, 7.9, least_running=floor, stops_at=(3.0, 4.0))
        with pytest.raises(CannotMeasure):
            turn_off_voltage(own)


@pytest.mark.parametrize("stops", [3.9, 3.5, 3.2])
def test_a_rehearsal_knows_when_it_stopped(stops: float) -> None:
    """In a pause nothing shows the stop; in a burst (2.0 s + 5 V - 3.17 V = 3.83 s) the current does."""
    stop = 2.0 + 5.0 - stops
    away = ((stop, 6.3),)
    own = view(bursts(0.02, 0.02, stops).samples(1e-4), EXACT, 0.5, 7.9, least_running=PAUSES, away=away)
    with pytest.raises(CannotMeasure):
        turn_off_voltage(own)
    seen = view(
        bursts(0.02, 0.02, 3.17).samples(1e-4), EXACT, 0.5, 7.9, least_running=PAUSES, away=((3.83, 6.3),)
    )
    assert turn_off_voltage(seen).value == pytest.approx(3.17, abs=2e-3)
