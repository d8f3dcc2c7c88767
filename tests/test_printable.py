"""What comes from outside reaches a terminal as text and as nothing else."""

import sys
import unicodedata

import pytest

from railwright.printable import printable


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("\x1b[2J", r"\x1b[2J"),
        ("\x1b]0;title\x07", r"\x1b]0;title\x07"),
        ("\x9b31m", r"\x9b31m"),
        ("a\rb", r"a\rb"),
        ("a\x00b\x7f", r"a\x00b\x7f"),
        ("12 V\u202e V 21", r"12 V\u202e V 21"),
        ("\u2066x\u2069", r"\u2066x\u2069"),
        ("a\u2028b\u2029", r"a\u2028b\u2029"),
        ("\ufeffa\u200b", r"\ufeffa\u200b"),
        ("caf\udce9", r"caf\udce9"),
        ("\U000e0041", r"\U000e0041"),
        ("a\x85b", r"a\x85b"),
    ],
)
def test_what_steers_is_written_out(text, shown):
    assert printable(text) == shown


@pytest.mark.parametrize(
    "text", ["", "12 V ± 2 %", "a\nb\tc", "60 mΩ", "1 000", "č ž — 電源", "می‌خواهم", "■ ▲ ● ✕"]
)
def test_what_is_text_stays(text):
    assert printable(text) == text


def test_one_line_stays_one_line():
    assert printable("a\nb\tc", one_line=True) == r"a\nb\tc"


def test_of_every_character_what_comes_out_steers_nothing():
    every = "".join(map(chr, range(sys.maxunicode + 1)))
    left = {unicodedata.category(c) for c in printable(every, one_line=True)} & {"Cc", "Cs", "Zl", "Zp"}
    assert left == set()
    turning = set("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
    assert not turning & set(printable(every))
