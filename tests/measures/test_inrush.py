"""Inrush charge and I²t against closed forms: a capacitor charged through a resistor, limited and not.

From 0 V over R to V: i = V/R e^(-t/RC), so that Q = C V and I²t = V² C / 2R. Under a limit I: I until the
capacitor has risen to V - I R, after t₁ = C (V - I R) / I, and from I on as before: I²t = I² (t₁ + RC / 2).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.said import says

from railwright.documents.procedure import Requirement
from railwright.measures import MEASURES
from railwright.measures.outcome import CannotMeasure
from railwright.measures.reading_model import HidingBound, ReadingModel

from .scene import CURRENT, EXACT, MODEL, RECORDER, Scene, view

V, R, C = 12.0, 0.5, 1e-3
LIMITED = 4.0
WITHIN = 60e-3


def charging(limit: float = math.inf) -> Scene:
    """A capacitor charged from 0 on; rows so close that straight lines between them are it."""
    most = min(limit, V / R)
    full = C * (V - most * R) / most
    after = np.geomspace(1e-7, 0.3, 4000)
    decay = most * np.exp(-after / (R * C))
    time = np.concatenate(([-0.2, 0.0, 1e-9, full + 2e-9], after + full + 2e-9))
    current = np.concatenate(([0.0, 0.0, most, most], decay))
    rises = np.concatenate(([0.0, 0.0, 0.0, V - most * R], V - decay * R))
    return Scene(time, rises, current)


def expected(limit: float = math.inf) -> dict[str, float]:
    if limit > V / R:
        return {"inrush_charge": C * V, "inrush_i2t": V**2 * C / (2.0 * R)}
    until = C * (V - limit * R) / limit
    return {"inrush_charge": C * V, "inrush_i2t": limit**2 * (until + R * C / 2.0)}


@pytest.mark.parametrize("limit", [math.inf, 10.0, LIMITED])
@pytest.mark.parametrize("measure", ["inrush_charge", "inrush_i2t"])
def test_a_capacitor_that_is_charged(measure: str, limit: float) -> None:
    scene, true = charging(limit), expected(limit)[measure]
    exact = MEASURES[measure](view(scene.truth(), EXACT, 0.0, WITHIN, switched_on=0.0))
    assert exact.value == pytest.approx(true, rel=1e-4)
    assert exact.low == exact.high == exact.value
    held, widths = 0, []
    for seed in range(20):
        samples = scene.read(seed, RECORDER, every=20e-6)
        got = MEASURES[measure](view(samples, RECORDER, 0.0, WITHIN, switched_on=0.0))
        assert got.value == pytest.approx(true, rel=0.05)
        held += got.low <= true <= got.high
        widths.append((got.high - got.low) / true)
    assert held >= 18
    assert np.median(widths) < 0.15


@pytest.mark.parametrize("limit", [math.inf, LIMITED])
def test_readings_bound_it_from_below_and_what_hides_from_above(limit: float) -> None:
    """1 % more than the peak is known to hold it, at which I²t over the window may be (1.01 î)² T at most."""
    scene, true = charging(limit), expected(limit)["inrush_i2t"]
    most = min(limit, V / R)
    model = replace(MODEL, current_bound=HidingBound(1.01 * most, 0.0, "the current limit"), surge=None)
    open_bound = MEASURES["inrush_i2t"](view(scene.read(1), model, 0.0, WITHIN, switched_on=0.0))
    assert math.isinf(open_bound.high), "what flows before the limit responds is not known"
    known = replace(model, surge=replace(MODEL.surge, limit=1.01 * most, resistance=V / most, response=1e-3))
    known = replace(known, voltage_bound=HidingBound(V, 0.0, "the OVP"))
    for seed in range(20):
        got = MEASURES["inrush_i2t"](view(scene.read(seed), known, 0.0, WITHIN, switched_on=0.0))
        assert got.low <= true
        assert got.high == pytest.approx((1.01 * most) ** 2 * WITHIN)
        assert says(got.hides, "18 ms")
        assert "samples/s" in got.would_decide
    held = MEASURES["inrush_i2t"](view(scene.read(3), known, 0.0, WITHIN, switched_on=0.0, holds=5.0))
    assert math.isinf(held.high), "a source in the device may drive any current back"


def test_a_steady_current_is_known_from_below_by_its_readings() -> None:
    """2 A for 60 ms: 0.24 A²s; the lower end is above that in 2.5 % of cases at most."""
    scene = Scene.of((-0.2, 0.0, 0.0), (0.0, 0.0, 0.0), (1e-6, 0.0, 2.0), (0.4, 12.0, 2.0))
    found = [
        MEASURES["inrush_i2t"](view(scene.read(seed), MODEL, 0.0, WITHIN, switched_on=0.0))
        for seed in range(40)
    ]
    assert sum(each.low > 0.24 for each in found) <= 3
    assert all(0.17 < each.low < 0.245 and each.value == pytest.approx(0.24, rel=0.2) for each in found)


def test_what_noise_adds_to_a_square_is_taken_off() -> None:
    """0.1 A with 0.5 A r.m.s. of noise: the mean square of the samples is 26 times that of the current."""
    exact = replace(CURRENT, of_value=0.0, offset=0.0, noise=0.5)
    noisy = ReadingModel("recorder", RECORDER.voltage, (exact,), 0.0, 0.0)
    scene = Scene.of((-0.2, 12.0, 0.1), (1.0, 12.0, 0.1))
    values = [
        MEASURES["inrush_i2t"](view(scene.read(seed, noisy, every=50e-6), noisy, 0.0, 0.5)).value
        for seed in range(20)
    ]
    # 10 000 samples: the mean square is known to 0.25 √(2 / 10 000) = 3.5 mA², that of 20 to 0.8 mA².
    assert np.mean(values) == pytest.approx(0.1**2 * 0.5, abs=1.2e-3)


def test_where_samples_are_missing_nothing_is_said() -> None:
    samples = charging().read(1, RECORDER, every=20e-6)
    kept = samples.between(-0.1, 1e-3), samples.between(5e-3, 0.2)
    gap = replace(
        samples,
        time=np.concatenate([each.time for each in kept]),
        columns={name: np.concatenate([each.columns[name] for each in kept]) for name in samples.columns},
    )
    with pytest.raises(CannotMeasure, match="samples are missing"):
        MEASURES["inrush_i2t"](view(gap, RECORDER, 0.0, WITHIN, switched_on=0.0))


def test_sums_of_several_outputs_say_no_more_than_their_charge() -> None:
    """Each read at a time of its own: the squares of the sums may exceed what flowed, Q²/T cannot."""
    scene = charging(LIMITED)
    summed = replace(MODEL, summed="current", current=(replace(CURRENT, share=0.5, most=4.0),) * 2)
    seen = view(scene.read(2), summed, 0.0, WITHIN, switched_on=0.0)
    got, flowed = MEASURES["inrush_i2t"](seen), MEASURES["inrush_charge"](seen)
    assert flowed.low < C * V < flowed.high
    assert (got.low, got.value) == pytest.approx((flowed.low**2 / WITHIN, flowed.value**2 / WITHIN))


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"measure": "inrush_i2t", "at_most": "2 A²s"}, "expected 'within' beside 'inrush_i2t'"),
        ({"measure": "charge", "within": "20 ms", "at_most": "2 C"}, "expected 'within' beside a measure of"),
        ({"measure": "inrush_i2t", "within": "20 ms", "at_most": "2 A"}, "expected an I²t such as '2 A²s'"),
        (
            {"measure": "inrush_charge", "within": "20 ms", "at_most": "2 C", "each_point": "worst"},
            "expected no 'each_point' beside 'inrush_charge'",
        ),
    ],
)
def test_what_is_said_of_a_wrong_requirement(given: dict[str, str], words: str) -> None:
    with pytest.raises(ValueError, match="expected") as caught:
        Requirement(name="r", of="main", during="on", **given)
    assert words in str(caught.value)


def test_its_limits_in_ampere_squared_seconds() -> None:
    wanted = Requirement(
        name="r", measure="inrush_i2t", of="main", during="on", within="20 ms", between="0.5 A2s .. 2 A²s"
    )
    assert (wanted.limits, wanted.within) == ((0.5, 2.0), 0.02)
