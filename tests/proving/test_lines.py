"""How the figures of a proof are judged: which of three is named, and what is not judged."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from railwright.documents.bench import VoltageAccuracy
from railwright.proving.lines import ProvedFigure, bound_of, compared, odd_ones, within

NAMES = {"above": "{value}: {more} above {end}", "below": "{value}: {more} below {end}"}


def figures(*values: float, bound: float | None = 0.01) -> list[ProvedFigure]:
    return [ProvedFigure(name, value, bound) for name, value in zip("abc", values, strict=False)]


@pytest.mark.parametrize(
    ("values", "odd"),
    [
        ((5.0, 5.0, 5.0), ""),
        ((5.0, 5.019, 5.0), ""),
        ((5.0, 5.05, 5.0), "b"),
        ((5.05, 5.0, 5.0), "a"),
        ((5.0, 5.01, 4.9), "c"),
        # Two that differ, and a third between them that agrees with both: either may be wrong.
        ((5.0, 5.03, 5.015), "ab"),
        ((1.0, 2.0, 3.0), "abc"),
        ((-5.0, 5.0, 5.0), "a"),
    ],
)
def test_the_one_that_differs_is_named(values: tuple[float, ...], odd: str) -> None:
    assert "".join(each.of for each in odd_ones(figures(*values))) == odd
    line = compared("level", "here", "V", figures(*values))
    assert line.passed is (odd == "")
    assert all(f"{name} " in f"{line.why} " for name in odd)


@given(st.floats(-30, 30), st.floats(0.021, 20.0), st.integers(0, 2), st.booleans())
def test_one_that_drifted_is_always_found(level: float, drift: float, which: int, up: bool) -> None:
    """Beyond the sum of two bounds, 0.02 V; the two others agree."""
    values = [level, level, level]
    values[which] += drift if up else -drift
    assert [each.of for each in odd_ones(figures(*values))] == ["abc"[which]]


def test_what_has_no_accuracy_is_not_judged() -> None:
    assert compared("level", "here", "V", figures(5.0, 9.0, bound=None)).passed is None
    one, other = ProvedFigure("a", 5.0, None), ProvedFigure("b", 5.0, 0.01)
    assert compared("level", "here", "V", [one, other]).passed is None
    assert compared("level", "here", "V", [one, other, ProvedFigure("c", 6.0, 0.01)]).passed is False
    assert within("drop", "here", "ohm", one, 1.0, 2.0, NAMES).passed is None
    assert within("drop", "here", "ohm", other, -math.inf, math.inf, NAMES).passed is None


@pytest.mark.parametrize(
    ("value", "bound", "passed", "why"),
    [
        (1.5, 0.1, True, ""),
        (2.05, 0.1, True, ""),
        (2.2, 0.1, False, "2.2 Ω: 200 mΩ above 2 Ω"),
        (0.8, 0.1, False, "800 mΩ: 200 mΩ below 1 Ω"),
        (0.95, 0.1, True, ""),
    ],
)
def test_a_figure_between_two_ends(value: float, bound: float, passed: bool, why: str) -> None:
    line = within("drop", "here", "ohm", ProvedFigure("a", value, bound), 1.0, 2.0, NAMES)
    assert (line.passed, line.why) == (passed, why)


def test_the_bound_of_a_mean() -> None:
    accuracy = VoltageAccuracy.model_validate(
        {"of_value": "0.1 %", "offset": "2 mV", "resolution": "1 mV", "noise": "4 mV"}
    )
    assert bound_of(accuracy, -10.0) == pytest.approx(0.010 + 0.002 + 0.001 + 0.016)
    assert bound_of(accuracy, 10.0, 16) == pytest.approx(0.010 + 0.002 + 0.001 + 0.004)
    assert bound_of(None, 10.0) is None
