"""What a fault makes of an answer."""

from random import Random

import pytest

from railwright.twin.mischief.answers import garbage, half, wrong


def test_half_an_answer_has_no_newline() -> None:
    assert half(b"1.2000000E+01\n") == b"1.20000"
    assert half(b"1\n") == b"1"


def test_garbage_is_one_line() -> None:
    for seed in range(50):
        assert garbage(Random(seed)).index(b"\n") == len(garbage(Random(seed))) - 1


@pytest.mark.parametrize(
    ("answer", "spoilt"),
    [
        (b"1\n", b"0\n"),
        (b"256\n", b"257\n"),
        (b"1.2000000E+01\n", b"1.3300000E+01\n"),
        (b"EXT\n", b"INT\n"),
        (b"NONE\n", b"(@1)\n"),
        (b"(@1,2)\n", b"NONE\n"),
        (b"T-7\n", b"T-7X\n"),
    ],
)
def test_a_wrong_answer(answer: bytes, spoilt: bytes) -> None:
    assert wrong(answer, Random(1)) == spoilt


def test_only_one_datum_is_wrong() -> None:
    for seed in range(20):
        parts = wrong(b"1,0;2.0E+00,EXT\n", Random(seed)).rstrip(b"\n").replace(b";", b",").split(b",")
        right = b"1,0,2.0E+00,EXT".split(b",")
        assert sum(a != b for a, b in zip(parts, right, strict=True)) == 1
