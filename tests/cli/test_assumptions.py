"""What was assumed, in one wording: each sentence once, with everything that it is said of."""

import pytest
from tests.bench import BENCH, PROCEDURE

from railwright.assumptions import Assumption
from railwright.cli.assumptions import by_subjects


def test_each_sentence_once_and_those_of_the_same_things_together():
    said = [
        Assumption("left.1", "a"),
        Assumption("left.1", "b"),
        Assumption("right.1", "a"),
        Assumption("right.1", "b"),
        Assumption("main", "c: d"),
        Assumption("", "the plug has 10 nF"),
        Assumption("left.1", "a"),
    ]
    assert by_subjects(said) == [
        (("left.1", "right.1"), ("a", "b")),
        (("main",), ("c: d",)),
        (("all",), ("the plug has 10 nF",)),
    ]


def assumptions(text):
    """The rows of the table, its lines joined: what no document says."""
    _, _, rest = text.partition("Assumed, as no document says it")
    rows = " ".join(line.strip() for line in rest.splitlines()[2:]).split("·")
    return [" ".join(row.split()) for row in rows]


@pytest.mark.slow
def test_check_rehearse_and_twin_say_the_same_once(documents, cli):
    checked = cli("check", "--all", PROCEDURE).stdout
    rehearsed = cli("rehearse", PROCEDURE).stdout
    twin = cli("twin", BENCH, "--procedure", PROCEDURE, "--free-ports", "--seconds", "0.1").stdout
    for text in (checked, rehearsed, twin):
        flat = " ".join(" ".join(assumptions(text)).split())
        for sentence in (
            "whether the output sinks current is not given: it does not, assumed",
            "a converter that has stopped starts again after 1 ms at the earliest",
            "inductance of its lead is not given: that of two wires 2 diameters apart, 0.65 µH/m, assumed",
            "no table gives the largest resistance of AWG 18: that of its section, 0.823 mm², is taken; "
            "stranded wire may have more",
            "the connector itself has 10 nF (wiring, plug)",
        ):
            assert flat.count(sentence) == 1, sentence
    assert "assumed:" not in checked
    assert checked.count("Assumptions") == 1
