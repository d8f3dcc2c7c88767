"""Figures and names in a text: each as a whole, in order, whatever the wording."""

import pytest
from tests.said import figures, says

TEXT = (
    "at 110 ms in 'first power': left.1 trips after 60\u00a0ms in the limit; "
    "-17 V to 25 V, 50%, 12 000 samples/s"
)


def test_figures_come_with_their_units_in_order():
    assert figures(TEXT) == ["110 ms", "60 ms", "-17 V", "25 V", "50%", "12 000"]
    assert figures("left.1 is on") == []
    assert figures("exact to ±2.9 mA, 2.4 V/ms, 1e+15 times") == ["±2.9 mA", "2.4 V/ms", "1e+15"]


@pytest.mark.parametrize(
    ("what", "said"),
    [
        (("110 ms", "first power", "left.1", "60 ms"), True),
        (("-17 V", "25 V"), True),
        (("60 ms", "110 ms"), False),  # in another order
        (("10 ms",), False),  # the end of another figure
        (("17 V",), False),  # of another sign
        (("11",), False),
        (("left",), False),  # the beginning of another name
        (("5 V",), False),
    ],
)
def test_what_a_text_says_is_found_as_a_whole_and_in_order(what, said):
    assert says(TEXT, *what) is said


@pytest.mark.parametrize("what", [(), ("",), ("110 ms", "")])
def test_what_is_in_every_text_is_not_asked_for(what):
    with pytest.raises(AssertionError, match="was given"):
        says(TEXT, *what)
