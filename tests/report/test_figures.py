"""Numbers as a report prints them."""

from __future__ import annotations

import math

import pytest

from railwright.quantities import show
from railwright.report.figures import number, show_limit, show_measured, show_standard


@pytest.mark.parametrize(
    ("value", "low", "high", "unit", "expected"),
    [
        (11.98765, 11.97712, 11.99818, "V", ("11.988 V", "11.977 to 11.998 V")),
        (0.0271, 0.0221, 0.0321, "s", ("27.1 ms", "22.1 to 32.1 ms")),
        (0.042812, 0.0419, 0.0437, "A", ("42.81 mA", "41.90 to 43.70 mA")),
        (0.0, 0.0, 0.0, "1", ("0", "0 to 0")),
        (0.0, -0.0004, 0.0004, "A", ("0.00 µA".replace("0.00 µA", "0 µA"), "-400 to 400 µA")),
        (1.5, 1.5, 1.5, "V", ("1.500 V", "1.500 to 1.500 V")),
        (-5.47, -5.57, -5.37, "V", ("-5.47 V", "-5.57 to -5.37 V")),
        # 3 µA where the reading is good to 3 mA is no figure but 0, whatever the sign.
        (3e-6, -2.997e-3, 3.003e-3, "A", ("0.0 mA", "-3.0 to 3.0 mA")),
        (-3e-6, -3.003e-3, 2.997e-3, "A", ("0.0 mA", "-3.0 to 3.0 mA")),
        (4e-9, -0.011, 0.011, "V", ("0 mV", "-11 to 11 mV")),
    ],
)
def test_digits_follow_the_uncertainty(
    value: float, low: float, high: float, unit: str, expected: tuple[str, str]
) -> None:
    assert show_measured(value, low, high, unit) == expected


def test_what_hides_on_one_side_does_not_take_the_digits_of_the_value() -> None:
    assert show_measured(0.5448, 0.5398, 597.0, "A") == ("0.5448 A", "0.5398 A to 597 A")
    assert show_measured(0.02802, 0.02775, 203.609, "A") == ("28.02 mA", "27.75 mA to 203.6 A")
    assert show_measured(7.9, 1.0, 7.92, "V") == ("7.900 V", "1 V to 7.920 V")


def test_below_its_resolution_a_predicted_figure_is_0() -> None:
    """Without an uncertainty; one that is known by an interval says itself to how many digits."""
    assert show_measured(2e-12, 2e-12, 2e-12, "A", resolution=1e-9)[0] == "0.000 A"
    assert show_measured(2e-8, 2e-8, 2e-8, "A", resolution=1e-9)[0] == "20.000 nA"
    assert show(-2e-12, "A", resolution=1e-9) == "0 A"
    assert show(1.5e-9, "A", resolution=1e-9) == "1.5 nA"
    assert show(-4e-13, "degC", resolution=1e-3) == "0 °C"


def test_an_open_interval_is_said_by_its_lower_end() -> None:
    assert show_measured(0.04, 0.03, math.inf, "A") == ("40 mA", "≥ 30 mA")
    assert number(math.nan, "V") == "not a number"


def test_limits_in_words() -> None:
    assert show_limit(None, 0.06, "A") == "at most 60 mA"
    assert show_limit(7.0, 8.2, "V") == "7 V to 8.2 V"
    assert show_limit(0.01, None, "s") == "at least 10 ms"
    assert show_limit(None, 0.0, "1") == "at most 0"
    assert show_limit(None, None, "V") == "no limit"


def test_standard_uncertainties_have_two_digits() -> None:
    assert show_standard(0.0028868, "V") == "2.9 mV"
    assert show_standard(0.35123, "A") == "351 mA"
    assert show_standard(0.0, "V") == "0 V"
    assert show_standard(0.289, "1") == "0.29"
    assert show_standard(math.inf, "V") == "unbounded"
