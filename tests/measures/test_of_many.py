"""Many bounded quantities as one contribution, against the closed forms of their sum."""

from __future__ import annotations

import math

import pytest

from railwright.measures.uncertainty import NORMAL, RECTANGULAR, TRIANGULAR, of_many


@pytest.mark.parametrize("scale", [1.0, 1e-12, 1e-90, 1e-160, 1e-300, 1e100])
@pytest.mark.parametrize(
    ("widths", "kind"),
    [([1.0], RECTANGULAR), ([1.0, 0.01], RECTANGULAR), ([1.0, 1.0], TRIANGULAR), ([1.0] * 7, NORMAL)],
)
def test_its_width_and_kind_do_not_hang_on_the_unit(widths: list[float], kind: str, scale: float) -> None:
    """Variance of a sum of rectangles: the sum of w²/3, at any size (a few were once divided by zero)."""
    found = of_many("each", [scale * each for each in widths])
    assert found.standard == pytest.approx(scale * math.sqrt(sum(w * w for w in widths) / 3.0), rel=1e-12)
    assert found.distribution == kind


@pytest.mark.parametrize("widths", [[], [0.0], [0.0, 0.0]])
def test_nothing_contributes_nothing(widths: list[float]) -> None:
    assert of_many("none", widths).standard == 0.0
