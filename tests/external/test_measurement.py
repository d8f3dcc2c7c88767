"""Measurement uncertainty, decisions and statistics against published worked examples."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest

from railwright.evaluation.decision import conformance_probability
from railwright.evaluation.statistics import RunningStatistics, mean_and_deviation
from railwright.measures.levels import state_levels
from railwright.measures.outcome import Contribution
from railwright.measures.uncertainty import (
    combined_standard,
    half_interval,
    normal,
    propagate,
    rectangular,
    resolution,
    triangular,
)

# JCGM 100:2008 (GUM), annex H.2, table H.2: five simultaneous observations.
VOLTAGE = [5.007, 4.994, 5.005, 4.990, 4.999]  # V
CURRENT = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3]  # A
PHASE = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]  # rad


def of_mean(values: list[float]) -> tuple[float, float]:
    mean, deviation = mean_and_deviation(values)
    return mean, deviation / math.sqrt(len(values))


def test_gum_h2_means_and_correlations() -> None:
    """JCGM 100:2008, table H.2."""
    assert of_mean(VOLTAGE)[0] == pytest.approx(4.9990, abs=5e-5)
    assert of_mean(VOLTAGE)[1] == pytest.approx(0.0032, abs=5e-5)
    assert of_mean(CURRENT)[0] == pytest.approx(19.6610e-3, abs=5e-8)
    assert of_mean(CURRENT)[1] == pytest.approx(0.0095e-3, abs=5e-8)
    assert of_mean(PHASE)[0] == pytest.approx(1.04446, abs=5e-6)
    assert of_mean(PHASE)[1] == pytest.approx(0.00075, abs=5e-6)
    r = np.corrcoef([VOLTAGE, CURRENT, PHASE])
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.36, 0.86, -0.65], abs=0.005)


@pytest.mark.parametrize(
    ("name", "expected", "standard"),
    [("R", 127.732, 0.071), ("X", 219.847, 0.295), ("Z", 254.260, 0.236)],
)
def test_gum_h2_propagation_with_correlated_inputs(name: str, expected: float, standard: float) -> None:
    """JCGM 100:2008, table H.3: resistance, reactance and impedance of a circuit element."""
    means = [of_mean(VOLTAGE), of_mean(CURRENT), of_mean(PHASE)]
    (v, _), (i, _), (phi, _) = means
    value, gradient = {
        "R": (v / i * math.cos(phi), [math.cos(phi) / i, -v / i**2 * math.cos(phi), -v / i * math.sin(phi)]),
        "X": (v / i * math.sin(phi), [math.sin(phi) / i, -v / i**2 * math.sin(phi), v / i * math.cos(phi)]),
        "Z": (v / i, [1 / i, -v / i**2, 0.0]),
    }[name]
    combined = propagate(gradient, [u for _, u in means], np.corrcoef([VOLTAGE, CURRENT, PHASE]))
    assert value == pytest.approx(expected, abs=6e-4)
    assert combined == pytest.approx(standard, abs=6e-4)


def test_rectangular_distribution_and_resolution() -> None:
    """JCGM 100:2008, 4.3.7 (u = a/√3) and F.2.2.1 (u = 0.29 δx, that is δx/√12)."""
    assert rectangular("bound", 6e-3).standard == pytest.approx(6e-3 / math.sqrt(3))
    assert resolution("step", 1e-3).standard == pytest.approx(1e-3 / math.sqrt(12))
    assert resolution("step", 1.0).standard == pytest.approx(0.29, abs=0.005)


def test_jcgm_101_sum_of_four_normal_quantities() -> None:
    """JCGM 101:2008, 9.2.2: four standard normal inputs, 95 % interval ±3.92."""
    parts = [normal("x", 1.0)] * 4
    assert combined_standard(parts) == pytest.approx(2.0)
    assert half_interval(parts) == pytest.approx(3.92, abs=0.005)


def test_jcgm_101_sum_of_four_rectangular_quantities() -> None:
    """JCGM 101:2008, 9.2.3: four rectangular inputs of u = 1, analytic 95 % interval ±3.88."""
    parts = [rectangular("x", math.sqrt(3.0))] * 4
    assert half_interval(parts) == pytest.approx(3.88, abs=0.005)


def test_jcgm_101_one_rectangular_quantity_outweighs_the_others() -> None:
    """JCGM 101:2008, 9.2.4: the fourth input has u = 10; 95 % interval ±17.0 where 'k = 1.96' says ±19.9."""
    parts = [rectangular("x", math.sqrt(3.0))] * 3 + [rectangular("x", 10.0 * math.sqrt(3.0))]
    assert combined_standard(parts) == pytest.approx(10.1, abs=0.05)
    assert half_interval(parts) == pytest.approx(17.0, abs=0.05)


def test_two_equal_rectangles_are_a_triangle() -> None:
    """Common practice, no source: P(|x| <= q) = 1 - (1 - q/2a)² on a triangle of half-width 2a."""
    expected = 2.0 * (1.0 - math.sqrt(0.05))
    assert half_interval([rectangular("x", 1.0)] * 2) == pytest.approx(expected, rel=1e-4)
    assert half_interval([triangular("x", 2.0)]) == pytest.approx(expected, rel=1e-4)


def test_single_contributions_have_their_closed_forms() -> None:
    """Common practice, no source: 0.95 a for a rectangle, 1.96 σ for a normal distribution."""
    assert half_interval([rectangular("x", 2.0)]) == pytest.approx(1.9, rel=1e-6)
    assert half_interval([normal("x", 1.0)]) == pytest.approx(1.959964, rel=1e-6)
    with pytest.raises(ValueError, match="unknown distribution"):
        half_interval([Contribution("x", 1.0, "lognormal"), normal("y", 1.0)])


def test_jcgm_106_conformance_probability_of_a_one_sided_limit() -> None:
    """JCGM 106:2012, worked example (from memory): y = -5.47 V, u = 0.05 V, limit -5.40 V: Φ(1.40) = 0.92."""
    probability = conformance_probability(-5.47, 0.05, upper=-5.40)
    assert probability == pytest.approx(0.9192, abs=5e-5)
    assert round(probability, 2) == 0.92


def numacc(number: int) -> tuple[list[float], float, float]:
    """NIST Statistical Reference Datasets, univariate: data, certified mean and standard deviation."""
    if number == 1:
        return [10000001.0, 10000003.0, 10000002.0], 10000002.0, 1.0
    base, mean = {2: ("1", 1.2), 3: ("1000000", 1000000.2), 4: ("10000000", 10000000.2)}[number]
    pairs = [float(f"{base}.1"), float(f"{base}.3")] * 500
    return [float(f"{base}.2"), *pairs], mean, 0.1


def test_numacc1_exactly() -> None:
    """NIST StRD NumAcc1: mean 10000002, standard deviation 1, every digit."""
    values, mean, deviation = numacc(1)
    assert mean_and_deviation(values) == (mean, deviation)


@pytest.mark.parametrize("number", [2, 3, 4])
def test_numacc_keeps_every_digit_that_the_data_have(number: int) -> None:
    """NIST StRD NumAcc2..4: certified values as float64 data hold them; exact arithmetic to 1e-14."""
    values, mean, deviation = numacc(number)
    got_mean, got_deviation = mean_and_deviation(values)
    spacing = math.ulp(mean)
    assert got_mean == pytest.approx(mean, abs=spacing)
    assert got_deviation == pytest.approx(deviation, abs=2 * spacing)
    exact = [Fraction(value) for value in values]
    centre = sum(exact) / len(exact)
    variance = sum((value - centre) ** 2 for value in exact) / (len(exact) - 1)
    assert got_mean == float(centre)
    assert got_deviation == pytest.approx(math.sqrt(variance), rel=1e-14)


def test_streaming_keeps_its_digits_beside_an_outlier() -> None:
    """Common practice, no source: compensated sums do not lose 1 beside 1e12."""
    running = RunningStatistics()
    for value in [1e12, 1.0, 2.0, 3.0]:
        running.add(value)
    assert running.mean == (1e12 + 6.0) / 4.0


def test_state_levels_of_a_two_level_waveform() -> None:
    """IEEE Std 181-2011, 5.2 (from memory): the modes of the two halves of the histogram."""
    rng = np.random.default_rng(1)
    ramp = np.linspace(0.0, 5.0, 50)
    values = np.concatenate((np.zeros(400), ramp, np.full(600, 5.0))) + 0.01 * rng.standard_normal(1050)
    levels = state_levels(values, 0.1)
    assert levels.two_states
    assert levels.low == pytest.approx(0.0, abs=2e-3)
    assert levels.high == pytest.approx(5.0, abs=2e-3)
