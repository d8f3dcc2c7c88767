"""Program messages: units, paths, parameters and their faults."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from railwright.scpi.data import Block, Expression, Number, Text, Word, parse_channels
from railwright.scpi.errors import STANDARD_TEXTS, ScpiError
from railwright.scpi.grammar import Unit, parse_message, split_data, split_responses


def fault(message: bytes) -> int:
    with pytest.raises(ScpiError) as caught:
        list(parse_message(message))
    return caught.value.number


def test_parameters_of_every_type() -> None:
    (unit,) = parse_message(b"""X 1.5 V , ON,'a''b',"c""d",#15he;lo,#HfF,(@1,2)""")
    assert unit.parameters == (
        Number(1.5, "V"),
        Word("ON"),
        Text("a'b"),
        Text('c"d'),
        Block(b"he;lo"),
        Number(255.0),
        Expression("(@1,2)"),
    )


def test_empty_messages_have_no_units() -> None:
    assert list(parse_message(b"")) == list(parse_message(b" \r\t")) == []


def test_units_before_a_fault_are_given_out() -> None:
    units = parse_message(b"VOLT 5;CURR 1;;OUTP ON")
    assert [next(units).header, next(units).header] == ["VOLT", "CURR"]
    with pytest.raises(ScpiError):
        next(units)


@pytest.mark.parametrize(
    ("message", "number"),
    [
        (b"VOLT\xff 5", -101),
        (b"\x80", -101),
        (b"VOLT,5", -111),
        (b"VOLT$ 5", -111),
        (b"5 VOLT", -102),
        (b"VOLT 5;", -102),
        (b"VOLT ,5", -102),
        (b"VOLT 5,", -102),
        (b"VOLT 5 6", -103),
        (b"VOLT ON OFF", -103),
        (b"ABCDEFGHIJKLM 1", -112),
        (b"VOLT .", -121),
        (b"VOLT 1E99999", -123),
        (b"VOLT " + b"1" * 300, -124),
        (b"VOLT 1 ABCDEFGHIJKLMNOP", -134),
        (b"VOLT ABCDEFGHIJKLMNOP", -144),
        (b"VOLT 'open", -151),
        (b"VOLT '\xe4'", -151),
        (b"VOLT #", -161),
        (b"VOLT #9999999999", -161),
        (b"VOLT #2x1abc", -161),
        (b"VOLT (@1", -171),
        (b"VOLT ((@1))", -171),
        (b"A" + b":A" * 40, -110),
        (b"A\nB", -102),
    ],
)
def test_faults_have_their_numbers(message: bytes, number: int) -> None:
    assert fault(message) == number


def outcome(message: bytes) -> list[Unit] | int:
    """The units of a message, or the number of its error."""
    try:
        return list(parse_message(message))
    except ScpiError as error:
        return error.number


def is_sound(result: list[Unit] | int) -> bool:
    if isinstance(result, int):
        return result in STANDARD_TEXTS and -300 < result < 0
    return all(unit.header for unit in result)


@given(st.binary(max_size=200))
def test_any_bytes_give_units_or_a_standard_error(message: bytes) -> None:
    assert is_sound(outcome(message))


@given(st.text(alphabet="VOLTCUR:;*?#(@),'\" 0123456789.eE+-", max_size=80))
def test_nearly_right_messages_give_units_or_a_standard_error(text: str) -> None:
    assert is_sound(outcome(text.encode()))


def test_channel_lists() -> None:
    assert parse_channels(Expression("(@1,3:2)"), (1, 2, 3)) == (1, 3, 2)
    assert parse_channels(Expression("( @ 1 : 3 )"), (1, 2, 3)) == (1, 2, 3)


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("(1)", -171),
        ("(@)", -171),
        ("(@1;2)", -171),
        ("(@4)", -222),
        ("(@0)", -222),
        ("(@1:999999999)", -222),
    ],
)
def test_faulty_channel_lists(text: str, number: int) -> None:
    with pytest.raises(ScpiError) as caught:
        parse_channels(Expression(text), (1, 2, 3))
    assert caught.value.number == number


def test_a_channel_list_may_not_grow_without_bound() -> None:
    with pytest.raises(ScpiError) as caught:
        parse_channels(Expression("(@" + ",".join(["1:99"] * 20) + ")"), range(1, 100))
    assert caught.value.number == -222


def test_answers_are_parted_outside_of_quotes() -> None:
    assert split_responses('1;"a;b";2') == ["1", '"a;b"', "2"]
    assert split_data('-1,"a,b",(@1,2)') == ["-1", '"a,b"', "(@1,2)"]
