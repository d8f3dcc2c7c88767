"""User text made fit to print."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from railwright.report.text import breakable, capital, clean, sentence, shortened, within_bundled_fonts


@pytest.mark.parametrize(
    ("given_text", "expected"),
    [
        ("two\nlines\tand  spaces ", "two lines and spaces"),
        ("bell\x07", "bell\ufffd"),
        ("lone \ud800 surrogate", "lone \ufffd surrogate"),
        ("abc\u202egnp.exe", "abcgnp.exe"),
        ("1000 µF ± 20 %", "1000 µF ± 20 %"),
        (None, "None"),
    ],
)
def test_clean(given_text: object, expected: str) -> None:
    assert clean(given_text) == expected


@given(st.text())
def test_clean_text_is_one_printable_line_and_stays_so(text: str) -> None:
    once = clean(text)
    assert clean(once) == once
    assert "\n" not in once
    once.encode("utf-8")


def test_an_endless_word_may_be_broken_and_a_short_one_not() -> None:
    assert breakable("A" * 60).replace("\u200b", "") == "A" * 60
    assert max(len(part) for part in breakable("A" * 60).split("\u200b")) == 6
    assert breakable("power-input.procedure") == "power-input.procedure"


def test_shortened_says_that_something_is_missing() -> None:
    assert shortened("abcdefghij", 5) == "abcd…"
    assert shortened("abcde", 5) == "abcde"


def test_sentences() -> None:
    assert sentence("the lead bears 8 A") == "The lead bears 8 A."
    assert sentence("Is it so?") == "Is it so?"
    assert capital("right.1 still stood at 1.2 V") == "right.1 still stood at 1.2 V"
    assert capital("time-weighted mean") == "Time-weighted mean"
    assert capital("8 V is below") == "8 V is below"


def test_fonts_of_the_machine_are_asked_only_where_they_are_needed() -> None:
    assert within_bundled_fonts("1000 µF ± 20 %, Ωμέγα, Приём, “quoted” – ½ ≤ √n")
    assert not within_bundled_fonts("検潮所")
