"""Which cases an ensemble plays."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from railwright.quantities import Uncertain, parse_uncertain
from railwright.rehearsal.design import CHUNK, Design, quantile


def quantities(count: int) -> dict[str, Uncertain]:
    return {f"q{k}": Uncertain(1.0, 1.0 - 0.1 * (k + 1), 1.0 + 0.1 * (k + 1)) for k in range(count)}


def everything(design: Design) -> np.ndarray:
    return np.concatenate([design.values(chunk) for chunk in range(design.chunks)])


def test_few_quantities_have_all_their_corners_once_and_the_interior():
    design = Design(quantities(3), 3000, seed=7)
    values = everything(design)
    assert values.shape == (3000, 3)
    corners = {tuple(row) for row in np.round(values[: design.corners], 12)}
    assert design.corners == 8
    assert len(corners) == 8
    low, high = (np.array([getattr(v, end) for v in design.quantities.values()]) for end in ("low", "high"))
    inside = values[design.corners :]
    assert ((inside > low) & (inside < high)).all()


def test_many_quantities_have_corners_drawn_and_the_interior():
    design = Design(quantities(30), 4096, seed=7)
    values = everything(design)
    assert not design.all_corners
    assert design.corners == 512
    low, high = (np.array([getattr(v, end) for v in design.quantities.values()]) for end in ("low", "high"))
    corners = values[:512]
    assert ((corners == low) | (corners == high)).all()
    assert 0.4 < (corners == high).mean() < 0.6
    assert not ((values[512:] == low) | (values[512:] == high)).any()


def test_the_same_seed_gives_the_same_cases_in_any_chunk():
    one, other = Design(quantities(5), 5000, seed=3), Design(quantities(5), 5000, seed=3)
    assert np.array_equal(one.values(3), other.values(3))
    assert not np.array_equal(one.values(0), Design(quantities(5), 5000, seed=4).values(0))


def test_chunks_are_one_sequence():
    """Cases of the interior fill it evenly across chunks: each of n slices of a quantity has its share."""
    design = Design(quantities(2), 4 * CHUNK + 4, seed=1)
    inside = everything(design)[design.corners :]
    counts, _ = np.histogram(inside[:, 0], bins=64, range=(0.9, 1.1))
    assert counts.min() == counts.max() == 64


def test_no_quantity_means_the_same_case():
    assert Design({}, 5, seed=1).values(0).shape == (5, 0)


@pytest.mark.parametrize(
    ("text", "reference"),
    [
        ("10 V ± 1 V", stats.uniform(9.0, 2.0)),
        ("10 V ± 1 V rectangular", stats.uniform(9.0, 2.0)),
        ("10 V ± 1 V triangular", stats.triang(0.5, 9.0, 2.0)),
        ("10 V ± 1 V arcsine", stats.arcsine(9.0, 2.0)),
        ("10 V ± 1 V normal k=2", stats.norm(10.0, 0.5)),
        ("9 V .. 11 V normal k = 3", stats.norm(10.0, 1.0 / 3.0)),
    ],
)
def test_distributions_against_scipy(text, reference):
    shares = np.linspace(0.01, 0.99, 99)
    assert quantile(parse_uncertain(text, "V"), shares) == pytest.approx(reference.ppf(shares), rel=1e-12)


def test_a_normal_one_ends_at_twice_its_bounds():
    ends = quantile(parse_uncertain("10 V ± 1 V normal k=1", "V"), np.array([1e-12, 1 - 1e-12]))
    assert ends.tolist() == [8.0, 12.0]
