"""Where a condition begins to hold, sought in two ways, against what is known in closed form."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from railwright.physics.halving import least, least_with

CURVES: dict[str, Callable[[float], float]] = {
    "straight": lambda x: x,
    "steep at the end": lambda x: math.expm1(20.0 * x) / math.expm1(20.0),
    "steep at the beginning": lambda x: math.sqrt(x),
    "nothing until late": lambda x: max(0.0, x - 0.9) * 10.0,
    "in stairs": lambda x: math.floor(x * 7.0) / 7.0,
}


@pytest.mark.parametrize("curve", CURVES)
@example(wanted=0.6902326764690395, halvings=15)  # where rounding cost one more look
@given(wanted=st.floats(1e-6, 1.0), halvings=st.integers(1, 40))
def test_both_find_the_same_from_above(curve: str, wanted: float, halvings: int) -> None:
    """A value that never falls: the truth lies within the last interval below what is found."""
    looks = 0

    def value(x: float) -> float:
        nonlocal looks
        looks += 1
        return CURVES[curve](x)

    if CURVES[curve](1.0) < wanted:
        return
    halved = least(lambda x: CURVES[curve](x) >= wanted, 0.0, 1.0, halvings)
    found = least_with(value, wanted, 0.0, 1.0, halvings)
    assert looks <= halvings + 3  # both ends, and one more than by halving
    close = 0.5**halvings
    assert CURVES[curve](found) >= wanted
    assert CURVES[curve](max(0.0, found - close * 1.000001)) <= wanted
    assert abs(found - halved) <= close * 1.000001


def test_a_smooth_one_needs_fewer_looks() -> None:
    looks = []

    def value(x: float) -> float:
        looks.append(x)
        return x / (1.0 + x)

    assert least_with(value, 0.3, 0.0, 1.0, 30) == pytest.approx(0.3 / 0.7, abs=1e-9)
    assert len(looks) <= 12  # 32 by halving
    assert least_with(lambda x: x, 0.0, 0.0, 1.0, 30) == 0.0
