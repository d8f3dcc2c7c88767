"""Findings that say the same of other figures are one to look at; nothing of what was found is lost."""

from __future__ import annotations

from railwright.documents.sources import Location
from railwright.quantities import joined, state
from railwright.settings.findings import Finding, Ranking, Severity
from railwright.settings.merged import merge


def finding(
    volts: float, *, about="main", step="dip", line=1, rule="low", remedy="raise it", overridden=None
):
    why = state("'{step}' is at {level}, below {limit}", step=step, level=(volts, "V"), limit=(9.0, "V"))
    where = Location("p.yaml", line, 1)
    return Finding(rule, Severity.CAUTION, about, where, why, remedy, overridden)


def test_count_range_and_worst():
    found = [finding(7.0, line=3), finding(5.5, line=4, step="deep"), finding(8.0, line=9, about="aux")]
    (one,) = merge(found, {"low": Ranking("level", over="limit", lowest=True)})
    assert (one.count, one.ranked) == (3, True)
    assert one.worst is found[1]
    assert one.about == ("main", "aux")
    assert one.findings == tuple(found)
    (level,) = one.ranges
    assert (level.name, level.low, level.high, level.unit) == ("level", 5.5, 8.0, "V")
    assert one.texts == (("step", ("dip", "deep")),)


def test_the_figures_are_compared_as_they_are_and_not_as_they_are_printed():
    """7.00001 V and 7.00002 V are both printed as 7 V."""
    found = [finding(7.00002), finding(7.00001)]
    assert str(found[0].why) == str(found[1].why)
    assert merge(found, {"low": Ranking("level", lowest=True)})[0].worst is found[1]
    assert merge(found, {"low": Ranking("level")})[0].worst is found[0]


def test_another_sentence_rule_or_acceptance_is_another_row():
    other = Finding(
        "low", Severity.CAUTION, "main", None, state("it is at {level}", level=(3.0, "V")), "raise it"
    )
    found = [finding(7.0), other, finding(7.0, rule="lower"), finding(7.0, overridden="meant")]
    assert [each.count for each in merge(found, {})] == [1, 1, 1, 1]
    # Of a kind: whatever the sentence; what is accepted stays apart.
    assert [each.count for each in merge(found, {}, whatever_why=True)] == [2, 1, 1]


def test_without_a_figure_that_tells_no_one_is_the_worst():
    found = [finding(7.0), finding(5.0)]
    (one,) = merge(found, {"low": Ranking("power")})
    assert not one.ranked
    assert one.worst is found[0]


def test_a_sentence_within_a_sentence_is_part_of_the_form():
    """One that says more is not the same as one that does not."""
    more = state("; up to {time}", time=(1.0, "s"))

    def said(tail):
        return Finding("r", Severity.NOTE, "main", None, state("low{tail}", tail=tail), "")

    assert len(merge([said(""), said(more)], {})) == 2
    assert len(merge([said(more), said(state("; up to {time}", time=(2.0, "s")))], {})) == 1


def test_texts_of_one_name_differ_between_findings_and_not_within_one():
    def pair(first: str, second: str, volts: float) -> Finding:
        ways = joined(" and ", [state("{way}", way=first), state("{way}", way=second)])
        why = state("{ways} at {level}", ways=ways, level=(volts, "V"))
        return Finding("low", Severity.CAUTION, "main", None, why, "")

    (alone,) = merge([pair("down", "up", 1.0)], {})
    assert alone.texts == ()
    (alike,) = merge([pair("down", "up", 1.0), pair("down", "up", 2.0)], {})
    assert (alike.count, alike.texts) == (2, ())
    (apart,) = merge([pair("down", "up", 1.0), pair("down", "back", 2.0)], {})
    assert apart.texts == (("way", ("down", "up", "back")),)
