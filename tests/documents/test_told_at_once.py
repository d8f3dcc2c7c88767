"""What is said where a text has a comma inside { }, and of every choice that is missing at once."""

from __future__ import annotations

import pytest
from tests.bench import PROCEDURE, copy_demo
from tests.said import says

from railwright.documents.loader import load_documents
from railwright.documents.sources import DocumentErrors
from railwright.near_words import hint

STOP = "{input: main, current_above: 900 mA, for: 100 ms}"


def said(tmp_path, old, new):
    copy_demo(tmp_path, (PROCEDURE, old, new))
    with pytest.raises(DocumentErrors) as errors:
        load_documents(tmp_path / PROCEDURE)
    return errors.value.problems, (tmp_path / PROCEDURE).read_text("utf-8")


def place(text, word):
    before = text[: text.index(word)]
    return before.count("\n") + 1, len(before) - before.rfind("\n")


@pytest.mark.parametrize("rest", ["or a lead", "the gauge's lead is off", "then 2 A"])
@pytest.mark.parametrize("break_", [" ", "\n     "])
def test_the_rest_of_a_text_after_a_comma_is_said_to_be_one(tmp_path, rest, break_):
    new = f"{STOP[:-1]}, likely: a coil is shorted,{break_}{rest}}}"
    (problem,), text = said(tmp_path, STOP, new)
    assert (problem.location.line, problem.location.column) == place(text, rest)
    assert says(problem.message, rest, "comma", "{ }", "quotes")


@pytest.mark.parametrize(
    ("new", "key"), [("{input: main, for: , likely: a coil}", "for"), ("{input: main, for: }", "for")]
)
def test_a_key_without_a_value_is_said_to_be_one(tmp_path, new, key):
    problems, _ = said(tmp_path, STOP, new)
    assert any(says(each.message, f"'{key}:'", "nothing") for each in problems)
    assert not any("comma" in each.message for each in problems)


@pytest.mark.parametrize(
    ("chosen", "keys"),
    [
        ("EN 50155 variation", [("level", "70 %", "125 %"), ("duration", "10 s")]),
        ("EN 50155 variation, level: 80 %", [("70 %", "125 %"), ("duration", "10 s")]),
        ("IEC 61000-4-29 dip", [("level", "40 %", "70 %"), ("duration", "10 ms", "1 s")]),
        ("IEC 61000-4-29 interruption", [("duration", "1 ms", "1 s"), ("impedance", "low", "high")]),
        ("EN 50155 interruption", [("level", "S2", "S3")]),
    ],
)
def test_every_missing_choice_is_told_with_what_there_is(tmp_path, chosen, keys):
    shape = f"  - shape: {{input: main, standard: {chosen}}}\n    name: more\n  - power_down:"
    problems, _ = said(tmp_path, "  - power_down:", shape)
    assert len(problems) == len(keys)
    told = [each.message for each in problems]
    assert all(sum(says(each, *words) for each in told) == 1 for words in keys)


@pytest.mark.parametrize(
    ("word", "known", "near"),
    [
        ("tower.7", ["tower.1", "tower.2", "tower.3"], ["tower.1", "tower.2", "tower.3"]),
        ("tower.7", ["left.1", "tower.2"], ["tower.2"]),
        ("towr.1", ["tower.1", "tower.2"], ["tower.1"]),
        ("Main", ["main", "mains"], ["main"]),
    ],
)
def test_words_that_are_equally_near_are_all_named(word, known, near):
    told = hint(word, known)
    assert [each for each in known if f"'{each}'" in told] == near


def test_nothing_near_is_named_where_nothing_is():
    assert hint("pump", ["left.1", "right.1"]) == ""
