"""Error entries."""

import pytest

from railwright.scpi.errors import (
    STANDARD_TEXTS,
    ErrorForm,
    event_bit,
    format_entry,
    parse_entry,
    standard_text,
)


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


@pytest.mark.parametrize(
    ("form", "answer", "entry"),
    [
        ("quoted", '+0,"No error"', (0, "No error")),
        ("text", "0, No error", (0, "No error")),
        ("text", " -222,Data out of range; 40 above 36 ", (-222, "Data out of range; 40 above 36")),
        ("number", "0", (0, "")),
        ("number", "-0\r", (0, "")),
        ("number", "+113", (113, "")),
    ],
)
def test_an_entry_has_the_form_that_it_is_said_to_have(
    form: ErrorForm, answer: str, entry: tuple[int, str]
) -> None:
    assert parse_entry(answer, form) == entry
    for other in ("quoted", "text", "number"):
        if other != form:
            with pytest.raises(ValueError, match="expected an error entry"):
                parse_entry(answer, other)  # type: ignore[arg-type]


@pytest.mark.parametrize("form", ["quoted", "text", "number"])
@pytest.mark.parametrize("answer", ["", "none", "0.5", "0;0", '1,2,3x"', "0,"])
def test_anything_else_is_no_entry(form: ErrorForm, answer: str) -> None:
    with pytest.raises(ValueError, match="expected an error entry"):
        parse_entry(answer, form)


@pytest.mark.parametrize("form", ["quoted", "text", "number"])
def test_what_is_written_is_read_back(form: ErrorForm) -> None:
    assert parse_entry(format_entry(0, form=form), form)[0] == 0
    number, text = parse_entry(format_entry(-113, "hm", form), form)
    assert (number, text) == (-113, "" if form == "number" else "Undefined header;hm")
