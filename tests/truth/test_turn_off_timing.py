"""Intervals hold the truth however seldom readings are polled: a few cases of benchmarks/coverage.py.

Its model is its own: straight lines, a converter in closed form, a meter with a grid of windows, a poller.
Of so many cases of a 95 % interval, fewer than the least hold the truth once in 2000 times (binomial
distribution).
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from benchmarks.coverage import EVERY, STATED, Lines, exact_interval, studied
from benchmarks.coverage import played as simulated
from scipy.stats import binom
from tests.truth.saying import case_documents, played
from tests.truth.table import TruthTable, Within

from railwright.archive.stored import evaluate_run, open_stored

CASES, RUNS = 24, 10
LEAST = int(binom.ppf(5e-4, CASES, STATED))
SEED = 500_000


@pytest.mark.case("turn-off-timing")
@pytest.mark.parametrize("every", EVERY)
def test_intervals_hold_the_truth_at_every_polling_interval(every: int, truth_table: TruthTable) -> None:
    held: Counter[str] = Counter()
    for seed in range(SEED, SEED + CASES):
        for case in studied(seed, every):
            held[case.quantity] += case.holds
    assert len(held) == 5
    for quantity, count in held.items():
        truth_table.compare(f"{quantity}: intervals of {CASES} that hold it", Within(LEAST, CASES), count)


@pytest.mark.case("turn-off-timing")
@pytest.mark.parametrize("name", ["p", "p10"])
def test_as_it_was_found(name: str, tmp_path: Path, truth_table: TruthTable) -> None:
    """On simulated supplies with thresholds that nobody is told: 12 ms and 10 ms between two readings."""
    path = case_documents("turn-off-timing", tmp_path) / f"{name}.yaml"
    held: Counter[str] = Counter()
    for seed in range(1, RUNS + 1):
        with played(path, seed) as (network, folder):
            true = network.parameters.parameters
        for each in evaluate_run(open_stored(folder), []).results:
            assert each.measured is not None
            parameter = {"off": "stops_at", "on": "starts_at"}[each.requirement]
            value = true[f"main.converter.{parameter}"].value
            held[each.requirement] += each.measured.low <= value <= each.measured.high
    least = int(binom.ppf(5e-4, RUNS, STATED))
    for quantity in ("off", "on"):
        what = f"turn-{quantity}: intervals of {RUNS} that hold it"
        truth_table.compare(what, Within(least, RUNS), held[quantity])


def test_a_skipped_update_does_not_widen_the_turn_off_voltage() -> None:
    """The ramp tells which windows were left out: polls at 12 ms see nearly as much as polls at 10 ms."""
    width = {
        every: np.median(
            [
                case.high - case.low
                for seed in range(SEED, SEED + 40)
                for case in studied(seed, every)
                if case.quantity == "turn-off"
            ]
        )
        for every in (10, 12)
    }
    assert width[12] < 1.5 * width[10]


def test_repeated_edges_are_known_as_well_as_the_instrument_lets_them_be() -> None:
    """Ten pulses there and back: what the capacitor takes it gives back. Left is the current's offset, 3 mA
    times ∫ v dt, and a thousandth; 0.6 to 1.9 J were said, of some 0.13 J.
    """
    for every in EVERY:
        cases = [each for seed in range(SEED, SEED + 12) for each in studied(seed, every)]
        for quantity in ("energy", "energy, odd period"):
            width = [(each.high - each.low) / 2.0 for each in cases if each.quantity == quantity]
            # 20 widths of 300 ms at most, at 11.5 V and 4.2 W: 3 mA · 69 V s + 0.15 % · 25 J, bounds.
            narrow = np.median(width) < 3e-3 * 69.0 + 1.5e-3 * 25.0
            # At 20 ms apertures of 8 ms cover less than half of the time: nothing tells of the rest.
            assert narrow == (every < 16)


@pytest.mark.parametrize(("every", "width"), [(12, "150 ms"), (20, "153.7 ms")])
def test_repeated_edges_on_simulated_supplies(every: int, width: str) -> None:
    """Their true energy, of capacitors and errors that nobody is told; 3 mA · 34 V s at most, and what else
    the instrument is off by.
    """
    cases = [each for seed in range(6) for each in simulated(SEED + seed, every, width)]
    energy = [each for each in cases if each.quantity == "energy"]
    assert len(energy) == 6
    assert sum(each.holds for each in energy) >= binom.ppf(5e-4, 6, STATED)
    left = np.median([(each.high - each.low) / 2.0 for each in energy])
    assert (left < 3e-3 * 34.0 + 1.5e-3 * 15.0 + 0.01) == (every < 16)


def test_the_model_integrates_as_a_sum_of_small_parts_does() -> None:
    """Brute force: ∫ i dt and ∫ v i dt of lines by a million midpoints, and a mean by the same."""
    lines = Lines(
        np.array([0.0, 1.0, 1.0, 3.0]), np.array([0.0, 2.0, 2.0, 5.0]), np.array([1.0, 1.0, 4.0, 0.0])
    )
    middle = (np.arange(1_000_000) + 0.5) * 3e-6
    volts = np.where(middle < 1.0, 2.0 * middle, 2.0 + 1.5 * (middle - 1.0))
    amps = np.where(middle < 1.0, 1.0, 4.0 - 2.0 * (middle - 1.0))
    assert lines.between(0.0, 3.0) == pytest.approx(
        (3.0 * amps.mean(), 3.0 * (volts * amps).mean()), rel=1e-6
    )
    part = (middle > 0.5) & (middle < 2.0)
    found = lines.mean(np.array([0.5]), np.array([2.0]), lines.amps)
    assert found[0] == pytest.approx(amps[part].mean(), rel=1e-5)


def test_the_exact_interval_is_that_of_clopper_and_pearson() -> None:
    """Closed form: of n out of n the lower end is (α/2)^(1/n), and the upper end is 1."""
    assert exact_interval(20, 20, 0.95) == pytest.approx((0.025 ** (1 / 20), 1.0))
