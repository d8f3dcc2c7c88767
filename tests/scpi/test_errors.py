"""Error entries."""

import pytest

from railwright.scpi.errors import STANDARD_TEXTS, event_bit, format_entry, parse_entry, standard_text


@pytest.mark.parametrize("number", STANDARD_TEXTS)
def test_every_entry_comes_back(number: int) -> None:
    assert parse_entry(format_entry(number)) == (number, STANDARD_TEXTS[number])


def test_details_are_quoted_cut_and_made_printable() -> None:
    assert parse_entry(format_entry(-113, 'say "hm"')) == (-113, 'Undefined header;say "hm"')
    assert format_entry(-101, "\x00\xff") == '-101,"Invalid character;??"'
    assert len(parse_entry(format_entry(-113, "x" * 900))[1]) == 255


@pytest.mark.parametrize("answer", ["", "0", "0,No error", 'x,"No error"', '1,"a'])
def test_what_is_no_entry_is_refused(answer: str) -> None:
    with pytest.raises(ValueError, match="error entry"):
        parse_entry(answer)


def test_numbers_that_are_not_listed_have_the_text_of_their_class() -> None:
    assert (standard_text(-199), standard_text(-999), standard_text(42)) == (
        "Command error",
        "Device-specific error",
        "Device-specific error",
    )


def test_every_class_has_its_bit() -> None:
    numbers = (0, -113, -222, 5, -310, -410, -500, -600, -700, -800)
    assert [event_bit(number) for number in numbers] == [None, 5, 4, 3, 3, 2, 7, 6, 1, 0]
