"""Registers as instruments answer them (IEEE 488.2, 11.5; SCPI-1999 vol. 1 for what is no number)."""

from __future__ import annotations

import pytest

from railwright.dialects.status import set_bits

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
