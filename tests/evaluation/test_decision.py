"""The guarded and the simple rule, on either side of either limit."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from tests.said import says

from railwright.evaluation.decision import Tolerance, decide
from railwright.evaluation.outcome import Evaluation, Outcome, Result
from railwright.measures.outcome import Measured

UPPER, LOWER, BOTH = Tolerance(None, 10.0), Tolerance(10.0, None), Tolerance(8.0, 10.0)


def measured(value: float, half: float = 1.0, **more: str) -> Measured:
    return Measured(value, value - half, value + half, (), "by hand", **more)


@pytest.mark.parametrize(
    ("tolerance", "value", "guarded", "simple"),
    [
        (UPPER, 8.9, "pass", "pass"),
        (UPPER, 9.5, "inconclusive", "pass"),
        (UPPER, 10.5, "inconclusive", "fail"),
        (UPPER, 11.1, "fail", "fail"),
        (LOWER, 11.1, "pass", "pass"),
        (LOWER, 10.5, "inconclusive", "pass"),
        (LOWER, 9.5, "inconclusive", "fail"),
        (LOWER, 8.9, "fail", "fail"),
        (BOTH, 9.0, "pass", "pass"),
        (BOTH, 8.5, "inconclusive", "pass"),
        (BOTH, 6.9, "fail", "fail"),
        (BOTH, 11.1, "fail", "fail"),
    ],
)
def test_rules(tolerance: Tolerance, value: float, guarded: str, simple: str) -> None:
    assert decide(measured(value), tolerance, "V", "guarded", 1.0)[0] == guarded
    assert decide(measured(value), tolerance, "V", "simple", 1.0)[0] == simple


def test_the_guard_band_scales() -> None:
    assert decide(measured(9.4), UPPER, "V", "guarded", 0.5)[0] is Outcome.PASS
    assert decide(measured(8.5), UPPER, "V", "guarded", 2.0)[0] is Outcome.INCONCLUSIVE


def test_a_value_at_the_limit_without_uncertainty_passes() -> None:
    assert decide(measured(10.0, 0.0), UPPER, "V", "guarded", 1.0)[0] is Outcome.PASS
    assert decide(measured(0.0, 0.0), Tolerance(None, 0.0), "1", "guarded", 1.0)[0] is Outcome.PASS
    assert decide(measured(1.0, 0.0), Tolerance(None, 0.0), "1", "guarded", 1.0)[0] is Outcome.FAIL


@pytest.mark.parametrize("rule", ["guarded", "simple"])
def test_what_hides_from_the_readings_never_passes_an_upper_limit(rule: str) -> None:
    hidden = measured(1.0, 0.1, unseen="a shorter peak falls between", would_decide="a faster recording")
    outcome, reason = decide(hidden, UPPER, "A", rule, 1.0)  # type: ignore[arg-type]
    assert outcome is Outcome.INCONCLUSIVE
    assert says(reason, "a shorter peak falls between", "a faster recording")
    assert decide(measured(11.5, 0.1, unseen="more"), UPPER, "A", "guarded", 1.0)[0] is Outcome.FAIL
    assert decide(measured(11.5, 0.1, unseen="more"), LOWER, "A", "guarded", 1.0)[0] is Outcome.PASS
    assert decide(measured(5.0, 0.1, unseen="more"), LOWER, "A", "guarded", 1.0)[0] is Outcome.INCONCLUSIVE


@pytest.mark.parametrize("rule", ["guarded", "simple"])
@pytest.mark.parametrize("value", [11.5, 30.0, 200.0])
def test_what_can_take_all_of_a_value_away_decides_neither_way(rule: str, value: float) -> None:
    """A mean of which readings miss a part: it may be anything."""
    hidden = replace(measured(value, 0.1, unseen="a load that stops between them"), low=0.0)
    for tolerance in (UPPER, LOWER):
        assert decide(hidden, tolerance, "W", rule, 1.0)[0] is Outcome.INCONCLUSIVE  # type: ignore[arg-type]


def test_the_reason_has_the_numbers() -> None:
    _, reason = decide(measured(9.5), UPPER, "V", "guarded", 1.0)
    assert says(reason, "9.5 V", "95 %", "8.5 V", "10.5 V", "10 V")


@pytest.mark.parametrize(
    ("value", "low", "high", "told"),
    [
        (12.00971, 12.00919, 12.01022, ("12.0097 V", "12.0092 V", "12.0102 V")),
        (0.30001, 0.30000, 0.30002, ("0.30001 V", "0.3 V", "0.30002 V")),
        (9.5, 8.5, 10.5, ("9.5 V", "8.5 V", "10.5 V")),
        (12.0, 12.0 - 1e-13, 12.01, ("12 V", "12 V", "12.01 V")),
    ],
)
def test_a_value_and_the_ends_of_its_interval_are_told_apart(
    value: float, low: float, high: float, told: tuple[str, ...]
) -> None:
    _, reason = decide(Measured(value, low, high, (), "by hand"), UPPER, "V", "guarded", 1.0)
    assert re.findall(r"[0-9.]+ V", reason)[:3] == list(told)


@pytest.mark.parametrize(
    ("outcomes", "expected"),
    [
        ((), "not judged"),
        (("pass", "pass"), "pass"),
        (("pass", "inconclusive"), "inconclusive"),
        (("inconclusive", "fail", "pass"), "fail"),
    ],
)
def test_outcome_of_an_evaluation(outcomes: tuple[str, ...], expected: str) -> None:
    results = tuple(
        Result("r", "charge", "main", "s", "C", None, 1.0, None, Outcome(each), "", "") for each in outcomes
    )
    assert Evaluation(results, "guarded", 1.0, ()).outcome == expected
