"""What parameters mean: bounds, special words, booleans, choices."""

import pytest

from railwright.scpi.data import Block, Datum, Expression, Number, Text, Word
from railwright.scpi.errors import ScpiError
from railwright.scpi.parameters import boolean, choice, integer_in, number_in


def voltage(datum: Datum) -> float:
    return number_in(datum, "V", 0.0, 36.0, 5.0)


@pytest.mark.parametrize(
    ("datum", "value"),
    [
        (Number(12.0), 12.0),
        (Number(500.0, "MV"), 0.5),
        (Word("min"), 0.0),
        (Word("MAXimum"), 36.0),
        (Word("DEF"), 5.0),
        (Number(36.0000001), 36.0),
    ],
)
def test_numbers_within_bounds(datum: Datum, value: float) -> None:
    assert voltage(datum) == value


@pytest.mark.parametrize(
    ("datum", "number"),
    [
        (Number(36.1), -222),
        (Number(-0.1), -222),
        (Word("INF"), -222),
        (Number(1.0, "A"), -131),
        (Word("ON"), -141),
        (Text("5"), -158),
        (Block(b"5"), -168),
        (Expression("(@1)"), -178),
    ],
)
def test_numbers_that_are_refused(datum: Datum, number: int) -> None:
    with pytest.raises(ScpiError) as caught:
        voltage(datum)
    assert caught.value.number == number


def test_whole_numbers_are_rounded_and_take_no_suffix() -> None:
    assert integer_in(Number(31.6), 0, 255) == 32
    with pytest.raises(ScpiError) as caught:
        integer_in(Number(1.0, "V"), 0, 255)
    assert caught.value.number == -138


def test_booleans() -> None:
    given = [Word("on"), Word("OFF"), Number(1.0), Number(0.4), Number(-2.0)]
    assert [boolean(datum) for datum in given] == [True, False, True, False, True]


@pytest.mark.parametrize(
    ("datum", "number"), [(Word("YES"), -141), (Text("ON"), -158), (Number(1.0, "V"), -138)]
)
def test_what_is_no_boolean(datum: Datum, number: int) -> None:
    with pytest.raises(ScpiError) as caught:
        boolean(datum)
    assert caught.value.number == number


def test_choices() -> None:
    assert (
        choice(Word("external"), "INTernal", "EXTernal")
        == choice(Word("EXT"), "INTernal", "EXTernal")
        == "EXT"
    )
    for datum, number in ((Word("EXTE"), -224), (Number(1.0), -128)):
        with pytest.raises(ScpiError) as caught:
            choice(datum, "INTernal", "EXTernal")
        assert caught.value.number == number
