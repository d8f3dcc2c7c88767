"""A contribution is one row of a budget."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.report.cases import result

from railwright.evaluation.outcome import Outcome
from railwright.measures.outcome import Contribution
from railwright.report.results import budget, requirement_row


def test_a_contribution_is_not_listed_twice(documents) -> None:
    """Two parts of 3 mV and 4 mV under one name are one of 5 mV: sqrt(3² + 4²); the sum of all stays."""
    required = next(each for each in documents.procedure.requires if each.name == "supply level")
    whole = result(required, decided=False)
    assert whole.measured is not None
    parts = (
        Contribution("left.1 voltage gain", 3e-3, "rectangular"),
        Contribution("noise", 1e-3, "normal"),
        Contribution("left.1 voltage gain", 4e-3, "rectangular"),
    )
    made = budget(1, replace(whole, measured=replace(whole.measured, contributions=parts)))
    assert [row[0].replace("\u200b", "") for row in made["rows"]] == ["left.1 voltage gain", "Noise"]
    assert made["rows"][0][2] == "5.0 mV"
    assert made["combined"] == "5.1 mV"  # sqrt(26)
    assert sum(int(row[3].removesuffix(" %")) for row in made["rows"]) == pytest.approx(100, abs=1)


@pytest.mark.parametrize(
    ("outcome", "unseen", "expected"),
    [
        (Outcome.PASS, "", "exact"),
        (Outcome.INCONCLUSIVE, "a restart can be missed", "–"),
        (Outcome.INCONCLUSIVE, "", "–"),
        (Outcome.FAIL, "a restart can be missed", "–"),
    ],
)
def test_what_could_not_be_decided_is_not_exact(documents, outcome, unseen, expected) -> None:
    required = next(
        each for each in documents.procedure.requires if each.name == "keeps running over the line range"
    )
    whole = result(required, decided=False)
    assert whole.measured is not None
    made = replace(whole, outcome=outcome, measured=replace(whole.measured, unseen=unseen))
    assert (requirement_row(1, made)["interval"], budget(1, made)["interval"]) == (expected, expected)
