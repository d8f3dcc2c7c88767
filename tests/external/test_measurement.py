"""Measurement uncertainty and decisions against published worked examples."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from railwright.measures.levels import state_levels
from railwright.measures.outcome import Contribution
from railwright.measures.signal import scatter, scatter_degrees
from railwright.measures.uncertainty import (
    combined_standard,
    degrees_of_doubt,
    effective_degrees,
    half_interval,
    normal,
    quantile,
    rectangular,
    resolution,
    triangular,
)

# JCGM 100:2008 (GUM), annex H.2, table H.2: five simultaneous observations.
VOLTAGE = [5.007, 4.994, 5.005, 4.990, 4.999]  # V
CURRENT = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3]  # A
PHASE = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]  # rad


def of_mean(values: list[float]) -> tuple[float, float]:
    return float(np.mean(values)), float(np.std(values, ddof=1)) / math.sqrt(len(values))


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


H1 = [
    # JCGM 100:2008, annex H.1, table H.1: source, u(x) and distribution, |c|, degrees of freedom; nm.
    normal("calibration of the standard", 25.0, 18),
    normal("repeated observations", 5.8, 24),
    normal("random effects of the comparator", 3.9, 5),
    normal("systematic effects of the comparator", 6.7, 8),
    rectangular("difference of expansion coefficients", 0.05e9 * 0.1 * 1e-6, degrees_of_doubt(0.1)),
    rectangular("difference of temperatures", 0.05e9 * 11.5e-6 * 0.05, degrees_of_doubt(0.5)),
]


def test_gum_h1_end_gauge() -> None:
    """JCGM 100:2008, H.1.6: u_c = 32 nm, ν_eff = 16, t_99(16) = 2.92, U_99 = 93 nm (92.5 nm unrounded)."""
    assert [each.standard for each in H1[4:]] == pytest.approx([2.9, 16.6], abs=0.05)
    assert [each.degrees for each in H1[4:]] == pytest.approx([50.0, 2.0])
    assert combined_standard(H1) == pytest.approx(31.7, abs=0.05)
    assert math.floor(effective_degrees(H1)) == 16
    assert half_interval(H1, 0.99) == pytest.approx(92.5, abs=0.1)
    assert round(half_interval(H1, 0.99)) in (92, 93)


def test_gum_h1_against_a_general_library() -> None:
    """The same by scipy alone: u_c, the Welch-Satterthwaite formula written out, Student's t of its own."""
    u = np.array([25.0, 5.8, 3.9, 6.7, 5.0 / math.sqrt(3.0), 28.75 / math.sqrt(3.0)])
    degrees = np.array([18.0, 24.0, 5.0, 8.0, 50.0, 2.0])
    combined = math.sqrt(np.sum(u**2))
    effective = combined**4 / np.sum(u**4 / degrees)
    assert effective_degrees(H1) == pytest.approx(effective, rel=1e-12)
    for probability in (0.6827, 0.9, 0.95, 0.99, 0.9973):
        expected = stats.t.ppf(0.5 + probability / 2.0, math.floor(effective)) * combined
        assert half_interval(H1, probability) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(("doubt", "degrees"), [(0.1, 50), (0.2, 12.5), (0.25, 8), (0.5, 2)])
def test_degrees_of_freedom_from_the_doubt_in_u(doubt: float, degrees: float) -> None:
    """JCGM 100:2008, G.4.2 and its example (25 % is 8), and annex H.1 (10 % is 50, 50 % is 2)."""
    assert degrees_of_doubt(doubt) == pytest.approx(degrees)
    assert degrees_of_doubt(0.0) == math.inf


@pytest.mark.parametrize("degrees", [1, 2, 5, 10, 30, 200])
@pytest.mark.parametrize("probability", [0.025, 0.9, 0.975, 0.995])
def test_one_observed_component_has_students_t(degrees: int, probability: float) -> None:
    """scipy.stats: n - 1 degrees of freedom and nothing else give Student's t, on either side."""
    expected = stats.t.ppf(probability, degrees) * 3.0
    assert quantile([normal("observed", 3.0, degrees)], probability) == pytest.approx(expected, rel=1e-9)


def test_students_t_holds_the_truth_where_the_normal_distribution_does_not() -> None:
    """Brute force: of 5 observations, 95 % of the intervals hold the mean by t, and 87 % by 1.96 s/√n."""
    rng = np.random.default_rng(7)
    samples = rng.standard_normal((20_000, 5))
    means, standards = samples.mean(axis=1), samples.std(axis=1, ddof=1) / math.sqrt(5.0)
    by_t = half_interval([normal("observed", 1.0, 4)])
    by_normal = half_interval([normal("observed", 1.0)])
    assert np.mean(np.abs(means) <= by_t * standards) == pytest.approx(0.95, abs=0.006)
    assert np.mean(np.abs(means) <= by_normal * standards) == pytest.approx(0.878, abs=0.01)


def test_scatter_has_the_degrees_of_freedom_that_it_states() -> None:
    """Brute force: ½ (mean / standard deviation)² of the scatter of n normal values (as G.4.2)."""
    rng = np.random.default_rng(8)
    for count in (10, 40, 200):
        found = np.array([scatter(rng.standard_normal(count)) for _ in range(4000)])
        degrees = 0.5 * (found.mean() / found.std()) ** 2
        assert scatter_degrees(count) == pytest.approx(degrees, rel=0.2)


def test_a_doubt_that_is_small_beside_the_rest_changes_nothing() -> None:
    """G.4.1: few degrees of freedom widen with the fourth power of the share."""
    certain = [rectangular("bound", 1.0), rectangular("other", 0.8)]
    beside = [*certain, normal("observed", 1e-3, 1)]
    assert half_interval(beside) == pytest.approx(half_interval(certain), rel=1e-3)
    assert half_interval([*certain, normal("observed", 1.0, 3)]) > half_interval(
        [*certain, normal("observed", 1.0)]
    )


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


def test_state_levels_of_a_two_level_waveform() -> None:
    """IEEE Std 181-2011, 5.2 (from memory): the modes of the two halves of the histogram."""
    rng = np.random.default_rng(1)
    ramp = np.linspace(0.0, 5.0, 50)
    values = np.concatenate((np.zeros(400), ramp, np.full(600, 5.0))) + 0.01 * rng.standard_normal(1050)
    levels = state_levels(values, 0.1)
    assert levels.two_states
    assert levels.low == pytest.approx(0.0, abs=2e-3)
    assert levels.high == pytest.approx(5.0, abs=2e-3)
