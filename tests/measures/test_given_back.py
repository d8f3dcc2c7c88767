"""Charge and energy over jumps of the voltage: apertures see a part of the pulses into the capacitance.

The truth is a closed form: of a constant current I0 and a capacitance C beside it, over any course of v,
∫ i dt = I0 T + C (v_end - v_start) and ∫ v i dt = I0 ∫ v dt + C (v_end² - v_start²) / 2.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from railwright.measures import MEASURES
from railwright.measures.outcome import Measured

from .scene import MODEL, Scene, view

STEADY = 0.35
INSTANT = 1e-9


def jumps(
    levels: Sequence[float], capacitance: float, edge: float, hold: float
) -> tuple[Scene, float, dict[str, float]]:
    """A scene that begins at the first level and jumps to each of the others from 0 s on, when it ends, and
    its charge and energy from 0 s to then.
    """
    corners, at = [(-0.5, levels[0], STEADY)], 0.0
    area = 0.0
    for one, two in itertools.pairwise(levels):
        pulse = STEADY + capacitance * (two - one) / edge
        corners += [(at, one, STEADY), (at + INSTANT, one, pulse)]
        corners += [(at + edge, two, pulse), (at + edge + INSTANT, two, STEADY)]
        area += edge * (one + two) / 2.0 + (hold - edge) * two
        at += hold
    corners.append((at + 0.3, levels[-1], STEADY))
    first, last = levels[0], levels[-1]
    truth = {
        "charge": STEADY * at + capacitance * (last - first),
        "energy": STEADY * area + capacitance * (last**2 - first**2) / 2.0,
    }
    return Scene.of(*corners), at, truth


def judged(
    measure: str, scene: Scene, end: float, seed: int, every: float, capacitance: float, **more: object
) -> Measured:
    """What is measured of readings, where the document gives the capacitance to ± 20 %."""
    known = {
        "capacitance": (0.8 * capacitance, 1.2 * capacitance),
        "follows": True,
        "stops_at": (7.4, 7.8),
        **more,
    }
    return MEASURES[measure](view(scene.read(seed, every=every), MODEL, 0.0, end, **known))


TRAINS = {
    "pulses": [12.0, *[9.0, 14.0] * 10],
    "there and back": [12.0, *[9.0, 12.0] * 8],
    "stairs": [9.0, 11.0, 13.0, 15.0, 12.0, 9.0, 15.0, 9.0],
    "one way": [9.0, 14.0],
}


@pytest.mark.parametrize("measure", ["charge", "energy"])
@pytest.mark.parametrize("train", TRAINS)
@pytest.mark.parametrize("every", [7e-3, 12e-3, 20e-3])
def test_intervals_over_jumps_hold_the_truth_and_are_no_wider_than_the_instrument(
    every: float, train: str, measure: str
) -> None:
    """Of 24 intervals of 95 % at least 18 hold the truth (binomial distribution, 5e-4). What is left in most
    is the instrument's error, 3 mA and a thousandth (times a volt's worth), and the capacitance that
    is known to ± 20 %, of what it has gained in the end; both are bounds.
    """
    held = narrow = 0
    for seed in range(24):
        rng = np.random.default_rng([seed, 7])
        capacitance, edge = rng.uniform(0.2e-3, 3e-3), rng.uniform(1e-3, 6e-3)
        hold = rng.choice([150e-3, 153.7e-3, 248e-3, 120e-3])
        levels = TRAINS[train]
        scene, end, truth = jumps(levels, capacitance * rng.uniform(0.8, 1.2), edge, hold)
        got = judged(measure, scene, end, seed, every, capacitance)
        held += got.low <= truth[measure] <= got.high
        volts = 15.0 if measure == "energy" else 1.0
        gained = {"charge": levels[-1] - levels[0], "energy": (levels[-1] ** 2 - levels[0] ** 2) / 2.0}
        instrument = (3.2e-3 + 1.2e-3 * STEADY) * end * volts
        left = 0.45 * capacitance * abs(gained[measure])
        # What the trapezoid rule leaves open where the load's power changes with the voltage.
        left += 0.0 if measure == "charge" else len(levels) * STEADY * 5.0 * every
        narrow += (got.high - got.low) / 2.0 < instrument + left
    assert held >= 18
    # At 20 ms apertures of 8 ms cover less than half of the time: nothing tells of the rest.
    assert narrow == 0 if every > 16e-3 else narrow >= 20


def test_a_capacitor_alone_gives_back_all_that_it_takes() -> None:
    """Nothing but 1 mF: after eight jumps there and back ∫ v i dt = 0; each jump carries 31.5 mJ."""
    for seed in range(12):
        scene, end, truth = jumps(TRAINS["there and back"], 1e-3, 3e-3, 150e-3)
        scene = replace(scene, current=scene.current - STEADY)
        got = judged("energy", scene, end, seed, 20e-3, 1e-3, never_stops=True)
        offset = 3.2e-3 * end * 12.0
        assert abs(got.value) < offset
        assert got.low <= 0.0 <= got.high
        assert truth["energy"] > 0.0


NOT_GIVEN_BACK = {
    "a load of its own course": {"follows": False},
    "no capacitance": {"capacitance": (0.0, 0.0)},
    "a diode": {"model": replace(MODEL, drop=(0.3, 0.8))},
    "it may stop": {"stops_at": (7.4, 9.5)},
    "nothing is known of it": {"stops_at": None},
    "it is switched on": {"switched_on": 0.0},
    "the aperture is unknown": {"model": replace(MODEL, aperture=None)},
    "larger than said": {"capacitance": (0.1e-3, 0.2e-3)},
}


@pytest.mark.parametrize("case", NOT_GIVEN_BACK)
def test_pulses_that_need_not_come_back_stay_in_the_integral(case: str) -> None:
    """As if nothing had been said of it: the trapezoid rule, and what it leaves open."""
    scene, end, _ = jumps(TRAINS["pulses"], 1e-3, 3e-3, 150e-3)
    given: dict[str, object] = {"capacitance": (0.8e-3, 1.2e-3), "follows": True, "stops_at": (7.4, 7.8)}
    changed = {**given, **NOT_GIVEN_BACK[case]}
    for seed in range(8):
        readings = scene.read(seed, every=12e-3)
        known = replace(view(readings, MODEL, 0.0, end), **changed)
        got = MEASURES["energy"](known)
        rule = MEASURES["energy"](replace(known, follows=False))
        assert (got.value, got.low, got.high) == (rule.value, rule.low, rule.high)


def test_levels_that_settle_slowly_are_levels() -> None:
    """After each jump down 25 mV are left, which go within 60 ms, as where a load empties the capacitors. Of
    20 jumps only those up were found, and what they took was not taken to come back.
    """
    scene, end, truth = jumps(TRAINS["pulses"], 1e-3, 3e-3, 150e-3)
    time = np.unique(np.concatenate((scene.time, np.arange(0.0, end, 1e-3))))
    volts, amps = (np.interp(time, scene.time, each) for each in (scene.voltage, scene.current))
    since = np.mod(time, 300e-3) - 3e-3
    left = np.where((since > 0.0) & (since < 60e-3) & (time < end), 25e-3 * (1.0 - since / 60e-3), 0.0)
    slow = Scene(time, volts + left, amps)
    for seed in range(8):
        for every in (10e-3, 12e-3):
            got = judged("energy", slow, end, seed, every, 1e-3)
            # Truth: 25 mV over half of 60 ms, ten times, at 0.35 A (2.6 mJ), beside the closed form.
            assert got.low < truth["energy"] + 2.6e-3 + 0.01
            assert got.high > truth["energy"] + 2.6e-3 - 0.01
            # The load's power jumps by 1.75 W, ten times each way, where no aperture may see it.
            instrument = (3.2e-3 + 1.2e-3 * STEADY) * end * 12.0
            gap = 10e-3 if every == 10e-3 else 20e-3
            assert (got.high - got.low) / 2.0 < instrument + 17.5 * (gap - 8e-3)


def test_a_slow_ramp_is_no_jump() -> None:
    """Its current flows in every aperture: what is read counts."""
    scene, end, truth = jumps([9.0, 14.0, 9.0], 1e-3, 0.6, 0.8)
    got = judged("energy", scene, end, 1, 10e-3, 1e-3)
    rule = judged("energy", scene, end, 1, 10e-3, 1e-3, follows=False)
    assert got.value == rule.value
    assert got.low <= truth["energy"] <= got.high


def test_a_measure_asks_the_documents_whether_a_load_follows() -> None:
    from railwright.physics.loads import KINDS

    follows = {name for name, kind in KINDS.items() if kind.follows}
    assert {"resistor", "capacitor", "converter", "constant_current"} <= follows
    assert not follows & {"profile", "battery", "coil", "dc_motor", "filament_lamp"}


@pytest.mark.parametrize("measure", ["charge", "energy"])
@pytest.mark.parametrize("before", [0.06, 0.09, 0.12])
@pytest.mark.parametrize("edge", [2e-3, 15e-3])
def test_a_jump_before_the_step_is_none_of_it(before: float, edge: float, measure: str) -> None:
    """Of readings every 50 ms, one saw the end of a jump that was over long before: what charged the
    capacitance then counted in the step.
    """
    capacitance, amperes = 400e-6, 0.036
    pulse = amperes + capacitance * 1.4 / edge
    at = -before - edge
    scene = Scene.of(
        (-0.6, 3.6, amperes), (at, 3.6, amperes), (at + INSTANT, 3.6, pulse), (at + edge, 5.0, pulse),
        (at + edge + INSTANT, 5.0, amperes), (0.6, 5.0, amperes),
    )  # fmt: skip
    truth = 0.1 * amperes * (5.0 if measure == "energy" else 1.0)
    model = replace(MODEL, update=50e-3, aperture=40e-3)
    known = {"capacitance": (0.9 * capacitance, 1.1 * capacitance), "follows": True, "stops_at": (2.9, 3.0)}
    held = 0
    for seed in range(24):
        found = MEASURES[measure](view(scene.read(seed, model, 20e-3), model, 0.0, 0.1, **known))
        held += found.low <= truth <= found.high
    assert held >= 18
