"""Numbers as supplies answer them, with and without a unit behind them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from railwright.guard.answers import in_si, names
from railwright.scpi.numbers import unit_factor


@pytest.mark.parametrize(
    ("text", "unit", "one", "value"),
    [
        ("12.000V", "V", 1.0, 12.0),
        ("+12.000 V ", "V", 1.0, 12.0),
        ("12", "V", 1.0, 12.0),
        ("12", "V", 1e-3, 0.012),
        # The unit that stands there counts, whatever the dialect says of a bare number.
        ("12V", "V", 1e-3, 12.0),
        ("500mA", "A", 1.0, 0.5),
        ("500MA", "A", 1.0, 0.5),
        ("250 \u00b5A", "A", 1.0, 250e-6),
        ("250uA", "A", 1e-3, 250e-6),
        ("-1.5E-1kV", "V", 1.0, -150.0),
        ("0.100S", "s", 1e-3, 0.1),
        ("100ms", "s", 1.0, 0.1),
        ("2.5 V/ms", "V/s", 1.0, 2500.0),
        ("60W", "W", 1.0, 60.0),
        (".5A", "A", 1.0, 0.5),
    ],
)
def test_a_number_and_its_unit(text: str, unit: str, one: float, value: float) -> None:
    assert in_si(text, unit, one) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("12.000A", "V"),
        ("0.5V", "A"),
        ("12 V 5", "V"),
        ("V", "V"),
        ("", "V"),
        ("12,5V", "V"),
        ("1_0", "V"),
        ("nan", "V"),
        ("12 V/s", "V"),
        ("5 s", "V/s"),
        ("12 MM", "V"),
        ("0x10", "V"),
        ("12.0E", "V"),
        ("5V", ""),
    ],
)
def test_what_is_no_number_of_that_quantity(text: str, unit: str) -> None:
    with pytest.raises(ValueError, match="expected a number"):
        in_si(text, unit, 1.0)


@given(
    st.floats(-1e6, 1e6, allow_subnormal=False),
    st.sampled_from(["", "m", "u", "n", "k", "M", "U", "K"]),
    st.sampled_from(["V", "A", "W", "s"]),
    st.sampled_from(["", " "]),
)
def test_a_unit_means_what_the_instrument_language_says(
    value: float, prefix: str, unit: str, gap: str
) -> None:
    """The twin's reader of program data (IEEE 488.2, 7.7.3) is not the driver's of answers."""
    expected = value * unit_factor(prefix + unit, unit)
    assert in_si(f"{value!r}{gap}{prefix}{unit}", unit, 7.0) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("answer", "name", "same"),
    [
        ("LEFT", "LEFT", True),
        ('"LEFT"', "left", True),
        ("+1", "1", True),
        ("1.0", "1", True),
        ("2", "1", False),
        ("RIGHT", "LEFT", False),
        ("", "1", False),
        ("UNIT1", "UNIT10", False),
    ],
)
def test_which_output_an_answer_names(answer: str, name: str, same: bool) -> None:
    assert names(answer, name) is same
