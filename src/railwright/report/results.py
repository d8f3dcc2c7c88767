"""Results as a report prints them: requirements, what a later evaluation changed, budgets, and the rule."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from railwright.evaluation.outcome import Evaluation, Outcome, Result
from railwright.measures import MEASURES
from railwright.measures.outcome import Measured
from railwright.measures.wording import widening_words
from railwright.report.figures import show_limit, show_measured, show_standard
from railwright.report.style import OUTCOME_SHAPES
from railwright.report.text import breakable, capital, sentence


def outcome_data(outcome: Outcome) -> dict[str, str]:
    """An outcome's word and shape."""
    return {"word": outcome.value, "shape": OUTCOME_SHAPES[outcome]}


def counts(evaluation: Evaluation) -> list[dict[str, Any]]:
    """How many requirements have each outcome; of those that are not judged only where there are any."""
    found = {outcome: sum(r.outcome is outcome for r in evaluation.results) for outcome in Outcome}
    return [
        {**outcome_data(outcome), "count": count}
        for outcome, count in found.items()
        if count or outcome is not Outcome.NOT_JUDGED
    ]


def _where(result: Result) -> str:
    # A run's evaluation may name a measure that this program does not have.
    known = MEASURES.get(result.measure)
    measure = known.words if known is not None else result.measure.replace("_", " ")
    place = f" ({result.at})" if result.unit == "V" else ""
    return f"{measure}{place} of {result.of}, during {result.during}"


def _with_interval(result: Result, measured: Measured) -> tuple[str, str]:
    """Value and 95 % interval. A value without one is exact, but not where nothing could be decided by it."""
    value, interval = show_measured(measured.value, measured.low, measured.bounded, result.unit)
    if measured.low == measured.high:
        interval = "–" if measured.unseen or result.outcome is Outcome.INCONCLUSIVE else "exact"
    return value, interval


def requirement_row(place: int, result: Result) -> dict[str, Any]:
    """One row of the table of results."""
    value, interval = "–", "–"
    if result.measured is not None:
        measured = result.measured
        value, interval = _with_interval(result, measured)
    return {
        "number": place,
        "name": breakable(result.requirement),
        "what": breakable(_where(result)),
        "value": value,
        "interval": interval,
        "limit": show_limit(result.lower, result.upper, result.unit),
        "outcome": outcome_data(result.outcome),
        "reason": breakable(capital(result.reason)),
        "source": breakable(result.source),
    }


def changes(evaluations: Sequence[Evaluation]) -> list[dict[str, Any]]:
    """What a later evaluation changed: a row for each requirement whose outcome or source is another one."""
    if len(evaluations) < 2:
        return []
    first, last = evaluations[0], evaluations[-1]
    earlier = {result.requirement: result for result in first.results}
    rows = []
    for result in last.results:
        before = earlier.get(result.requirement)
        if before is None or (before.outcome is result.outcome and before.source == result.source):
            continue
        rows.append(
            {
                "name": breakable(result.requirement),
                "before": outcome_data(before.outcome),
                "before_source": breakable(before.source),
                "before_reason": breakable(capital(before.reason)),
                "after": outcome_data(result.outcome),
                "after_source": breakable(result.source),
            }
        )
    return rows


def rule_statement(evaluation: Evaluation) -> str:
    """The decision rule in words, as ISO/IEC 17025 wants it stated with each statement of conformity."""
    if evaluation.rule != "guarded":
        return (
            "Simple acceptance (JCGM 106:2012): the measured value alone is compared with the limits; its "
            "uncertainty is stated but not taken into account. A value at a limit can be wrongly "
            "accepted, or wrongly rejected, with a probability of up to 50 %."
        )
    band = f"{evaluation.guard_band:g} × U"
    text = (
        f"Guarded acceptance and guarded rejection (JCGM 106:2012) with a guard band of {band}, where U is "
        "the distance from the measured value to the end of its 95 % coverage interval on the side of the "
        f"limit. Pass: the value lies inside the limits by at least {band}. Fail: it lies outside by more "
        f"than {band}. Between the two, or where something may hide from the readings, the outcome is "
        "inconclusive, and says what would decide it."
    )
    if evaluation.guard_band == 1.0:
        text += " A wrong pass or a wrong fail then has a probability of about 2.5 % at most."
    return text


def budget(place: int, result: Result) -> dict[str, Any]:
    """The uncertainty budget of one result, largest contribution first."""
    measured = result.measured
    entry: dict[str, Any] = {
        "number": place,
        "name": breakable(result.requirement),
        "what": breakable(_where(result)),
    }
    if measured is None:
        return {**entry, "how": breakable(sentence(result.reason)), "rows": [], "remarks": []}
    total = sum(c.standard**2 for c in measured.contributions)
    # What comes under one name is one row: independent parts of it add up in squares, as all rows do.
    named: dict[tuple[str, str], float] = {}
    for c in measured.contributions:
        named[c.source, c.words] = math.hypot(named.get((c.source, c.words), 0.0), c.standard)
    rows = [
        [
            breakable(capital(source)),
            breakable(words),
            show_standard(standard, result.unit),
            _share(standard**2 / total) if total else "–",
        ]
        for (source, words), standard in sorted(named.items(), key=lambda entry: -entry[1])
    ]
    value, interval = _with_interval(result, measured)
    remarks = [sentence(f"hidden from the readings: {measured.unseen}")] if measured.unseen else []
    if measured.widened:
        remarks.append(sentence(widening_words(measured.widened, result.unit)))
    if measured.would_decide and result.outcome is Outcome.INCONCLUSIVE:
        remarks.append(sentence(f"what would decide it: {measured.would_decide}"))
    remarks += [sentence(f"assumed: {assumption}") for assumption in measured.assumptions]
    return {
        **entry,
        "how": breakable(sentence(measured.how)),
        "rows": rows,
        "combined": show_standard(total**0.5, result.unit),
        "value": value,
        "interval": interval,
        "source": breakable(result.source),
        "remarks": [breakable(remark) for remark in remarks],
    }


def _share(part: float) -> str:
    return f"{100 * part:.0f} %" if part >= 0.005 or part == 0 else "< 1 %"
