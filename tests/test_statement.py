"""A sentence keeps its figures, also those of a sentence within it."""

from __future__ import annotations

import pytest

from railwright.quantities import StatedFigure, figures_of, joined, listed, named, state


def test_a_sentence_is_printed_and_its_figures_stay_as_they_are():
    made = state("{count} of {of} is above {most}", count=3, of="main", most=(0.0405123, "s"))
    assert made == "3 of main is above 40.51 ms"
    assert made.figures == (StatedFigure("count", 3, ""), StatedFigure("most", 0.0405123, "s"))


def test_figures_of_a_sentence_within_come_too_and_keep_both_names():
    inner = state("; {highest} is set", highest=(61.0, "V"))
    made = state("it reaches {highest}{more}", highest=(65.0, "V"), more=inner)
    assert made == "it reaches 65 V; 61 V is set"
    assert made.figures == (StatedFigure("highest", 65.0, "V"), StatedFigure("more_highest", 61.0, "V"))
    assert figures_of(state("so: {all}", all=made)) == made.figures


def test_what_a_person_wrote_is_no_template():
    assert state("'{step}' ends", step="{most} %s") == "'{most} %s' ends"


def test_a_list_tells_what_is_printed_alike_once():
    made = listed("level", (12.0, 12.00001, 6.0), "V")
    assert made == "12 V, 6 V"
    assert made.figures == (StatedFigure("level_1", 12.0, "V"), StatedFigure("level_2", 6.0, "V"))


def test_a_figure_is_printed_with_its_own_digits_or_as_a_bare_number():
    made = state(
        "{height}, {room:.1%} above, at {at:.3g} V",
        height=(1.23456, "V", 2),
        room=(0.1234, "1"),
        at=(9.5, "V"),
    )
    assert made == "1.2 V, 12.3% above, at 9.5 V"
    assert made.figures == (
        StatedFigure("height", 1.23456, "V"),
        StatedFigure("room", 0.1234, "1"),
        StatedFigure("at", 9.5, "V"),
    )


def test_joined_statements_keep_all_figures():
    made = joined("; ", [state("{limit} trips", limit=(1.0, "A")), "and", state("{limit}", limit=(2.0, "A"))])
    assert made == "1 A trips; and; 2 A"
    assert made.figures == (StatedFigure("limit", 1.0, "A"), StatedFigure("limit_2", 2.0, "A"))
    assert joined(", ", ()).figures == ()


def test_one_figure_stands_by_itself():
    made = named("permitted_low", 9.0, "V")
    assert made == "9 V"
    assert made.figures == (StatedFigure("permitted_low", 9.0, "V"),)


def test_no_two_figures_of_a_sentence_have_one_name():
    limits = [state("{limit}", limit=(ampere, "A")) for ampere in (1.0, 2.0, 3.0)]
    both = joined(" and ", limits[:2])
    names = [each.name for each in joined("; ", [limits[2], both, both]).figures]
    assert len(set(names)) == len(names) == 5
    within = state("{lead_limit}, {limit}, {lead}", lead_limit=(4.0, "A"), limit=(5.0, "A"), lead=limits[0])
    assert within.figures == (
        StatedFigure("lead_limit", 4.0, "A"),
        StatedFigure("limit", 5.0, "A"),
        StatedFigure("lead_limit_2", 1.0, "A"),
    )


def test_a_text_has_no_figures():
    assert figures_of("12 V") == ()


def test_a_part_that_is_not_given_is_an_error():
    with pytest.raises(KeyError):
        state("{a} and {b}", a=1)
