"""Numbers, suffixes and responses of the instrument language."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from railwright.scpi.errors import ScpiError
from railwright.scpi.numbers import (
    format_nr3,
    parse_decimal,
    parse_other_base,
    parse_response,
    unit_factor,
)


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e30, max_value=1e30))
def test_a_value_survives_nr3_to_its_digits(value: float) -> None:
    assert parse_response(format_nr3(value)) == pytest.approx(value, rel=5.1e-8, abs=1e-300)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_what_python_prints_is_a_decimal_number(value: float) -> None:
    assert parse_decimal(repr(value)) == value


def test_infinity_and_nan_come_back() -> None:
    assert parse_response(format_nr3(-math.inf)) == -math.inf
    assert math.isnan(parse_response(format_nr3(math.nan)))


def test_response_forms() -> None:
    assert format_nr3(12.5) == "1.2500000E+01"


@pytest.mark.parametrize("text", ["", "V", "1.2.3", "--1", "1E", "0x10", "1 2"])
def test_what_is_no_number_is_refused(text: str) -> None:
    with pytest.raises(ScpiError) as caught:
        parse_decimal(text)
    assert caught.value.number == -121
    with pytest.raises(ValueError, match="expected a number"):
        parse_response(text)


def test_a_number_beyond_the_machine_is_out_of_range() -> None:
    with pytest.raises(ScpiError) as caught:
        parse_decimal("1E4000")
    assert caught.value.number == -222


@pytest.mark.parametrize(
    ("suffix", "unit", "factor"),
    [("mv", "V", 1e-3), ("V/MS", "V/S", 1e3), ("KV/S", "V/S", 1e3), ("V/US", "V/S", 1e6), ("S", "S", 1.0)],
)
def test_suffixes(suffix: str, unit: str, factor: float) -> None:
    assert unit_factor(suffix, unit) == pytest.approx(factor)


@pytest.mark.parametrize(
    ("suffix", "unit"), [("A", "V"), ("XV", "V"), ("V/S", "V"), ("V", "V/S"), ("VV", "V")]
)
def test_a_suffix_of_another_unit_is_refused(suffix: str, unit: str) -> None:
    with pytest.raises(ScpiError) as caught:
        unit_factor(suffix, unit)
    assert caught.value.number == -131


def test_a_unit_that_is_none_is_a_fault_of_the_program() -> None:
    with pytest.raises(ValueError, match="unit 'furlong' is none"):
        unit_factor("V", "furlong")


def test_digits_of_another_base_are_checked() -> None:
    with pytest.raises(ScpiError) as caught:
        parse_other_base("B", "102")
    assert caught.value.number == -121
