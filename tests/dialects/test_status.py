"""Registers as instruments answer them (IEEE 488.2, 11.5; SCPI-1999 vol. 1 for what is no number)."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from railwright.dialects.dialect import load_dialect, read_dialect
from railwright.dialects.files import dialect_text
from railwright.dialects.status import TripStatus, set_bits

BITS = {"OVP": 9, "CV": 0, "power": 7}


@pytest.mark.parametrize(
    ("answer", "names"),
    [
        ("0", ()),
        ("1", ("CV",)),
        ("+513", ("CV", "OVP")),
        ("128", ("power",)),
        ("6.41E2", ("CV", "power", "OVP")),
    ],
)
def test_its_bits_have_names_the_lowest_first(answer: str, names: tuple[str, ...]) -> None:
    assert set_bits(BITS, answer) == names


@pytest.mark.parametrize("answer", ["9.9E37", "-9.9E37", "9.91E37", "INF", "NAN", "0.5", "what", ""])
def test_what_is_no_register_s_value_is_told(answer: str) -> None:
    with pytest.raises(ValueError, match="expected"):
        set_bits(BITS, answer)


WORDS = {
    "query": "STATe?",
    "words": {"OVP": "OVERvolt", "current limit": "OC"},
    "nothing": ["CV", "CC", "OFF"],
}


@pytest.mark.parametrize(
    ("answer", "tripped"),
    [("OVER", ("OVP",)), ('"overvolt"', ("OVP",)), (" oc ", ("current limit",)), ("CV", ()), ("off", ())],
)
def test_a_trip_is_told_by_its_word(answer: str, tripped: tuple[str, ...]) -> None:
    assert TripStatus.model_validate(WORDS).tripped([answer], 1) == tripped


@pytest.mark.parametrize("answer", ["", "OTP", "1", "OVERV", "OV;OC"])
def test_a_word_that_nobody_wrote_down_is_no_sign_that_nothing_tripped(answer: str) -> None:
    with pytest.raises(ValueError, match="expected one of OVERvolt, OC, CV, CC, OFF"):
        TripStatus.model_validate(WORDS).tripped([answer], 1)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"nothing": []}, "'nothing'"),
        ({"nothing": "OVER"}, "'OVP' and for no trip"),
        ({"query": None}, "'query'"),
        ({"words": None}, "one of"),
        ({"bits": {"OVP": 3}}, "one of"),
        ({"words": {"OVP": "OV", "OTP": "OV"}}, "something of its own"),
        ({"words": {"OVP": ""}}, "at least 1"),
        ({"words": None, "nothing": (), "bits": {"OVP": 3, "OTP": 3}}, "something of its own"),
        ({"words": None, "nothing": (), "query": None, "each": {"OVP": "A?", "OTP": "A?"}}, "of its own"),
    ],
)
def test_trips_that_could_not_be_told_apart_are_refused(change: dict[str, object], told: str) -> None:
    with pytest.raises(ValidationError, match=told):
        TripStatus.model_validate({**WORDS, **change})


def test_a_status_query_names_its_output_as_everything_else_does() -> None:
    """Outputs that are called by letters, in the header: the status was asked of another name."""
    text = dialect_text("numbered-header").replace("\nwords:", "\ncalled: {1: A, 2: B}\nwords:", 1)
    made = read_dialect(text, "mine.yaml")
    numbered = load_dialect("numbered-header")
    assert made.status_units(2) != numbered.status_units(2)
    for own, other in zip(made.status_units(2), numbered.status_units(2), strict=True):
        assert own == other.replace("2", "B")
