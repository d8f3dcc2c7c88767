"""What a device and a lead bear: time above levels, three-valued verdicts."""

import math

import numpy as np
import pytest
from pydantic import TypeAdapter
from tests.said import says

from railwright.documents.bench import Lead
from railwright.documents.device import Input
from railwright.physics import conductors
from railwright.rehearsal.harm import all_borne, lead_stress, reasons, stresses, time_above


def an_input(*withstands):
    return TypeAdapter(Input).validate_python(
        {
            "nominal": "12 V",
            "operating": "9 V .. 16 V",
            "withstands": list(withstands),
            "return": "isolated",
            "load": [{"resistor": "24 ohm"}, {"capacitor": {"capacitance": "100 uF"}}],
        },
        by_alias=True,
    )


def a_lead(**more):
    return TypeAdapter(Lead).validate_python({"conductor": "AWG 18", "one_way_length": "1 m", **more})


def pulse(height, length, after=0.0):
    """0 V, a rectangle, and a value that stays."""
    time = np.array([0.0, 1.0, 1.0, 1.0 + length, 1.0 + length, 4.0])
    return time, np.array([0.0, 0.0, height, height, after, after])


def verdict(wanted, *trace):
    return all_borne([(stress.borne, stress.words) for stress in stresses(wanted, *trace)])


def test_time_above_a_level_is_that_of_straight_lines():
    time, values = np.array([0.0, 1.0, 3.0, 4.0]), np.array([0.0, 10.0, 0.0, 0.0])
    assert time_above(time, values, 5.0) == pytest.approx(0.5 + 1.0)
    assert time_above(time, values, 10.0) == 0.0
    assert time_above(time, values + np.array([0, 0, 0, 6.0]), 5.0) == math.inf


BOTH = ({"voltage": "20 V"}, {"voltage": "26 V", "for": "1 s"})


@pytest.mark.parametrize(
    ("withstands", "height", "length", "borne"),
    [
        (BOTH, 19.0, 2.0, True),
        (BOTH, 25.0, 0.9, True),
        (BOTH, 25.0, 1.1, False),
        (BOTH, 27.0, 1e-3, False),
        ((), 15.9, 2.0, True),
        ((), 17.0, 1e-3, None),
        (({"voltage": "26 V", "for": "1 s"},), 20.0, 0.9, True),
        (({"voltage": "26 V", "for": "1 s"},), 20.0, 1.1, False),
        ((), -0.9, 1.0, True),
        ((), -12.0, 1e-3, None),
        (BOTH, -12.0, 1e-3, False),
        ((*BOTH, {"reverse": "16 V"}), -12.0, 2.0, True),
        ((*BOTH, {"reverse": "16 V", "for": "10 ms"}), -12.0, 0.1, False),
        ((*BOTH, {"reverse": "16 V"}), -17.0, 1e-3, False),
    ],
)
def test_a_voltage_is_borne_for_as_long_as_the_document_says(withstands, height, length, borne):
    assert verdict(an_input(*withstands), *pulse(height, length)) is borne


def test_a_voltage_that_stays_is_there_for_ever():
    found = stresses(an_input(*BOTH), *pulse(25.0, 0.1, after=25.0))
    assert [stress.time for stress in found if stress.level == 20.0] == [math.inf]
    assert any(says(stress.words, "20 V", "1 s") for stress in found)


def test_the_insulation_of_a_lead_bears_k2s2():
    """(115 A√s/mm² · 0.823 mm²)², IEC 60364-5-54 (from memory)."""
    area = conductors.awg_area(18)
    limit = (115.0 * area * 1e6) ** 2
    assert lead_stress(a_lead(), 23.0, 100.0, 0.99 * limit, 0.0, 0.3).borne is True
    over = lead_stress(a_lead(), 23.0, 100.0, 1.01 * limit, 0.0, 0.3)
    assert (over.borne, over.limit) == (False, pytest.approx(limit, rel=1e-6))
    assert "melts" not in over.words
    assert over.melts > over.limit
    assert "and melts" in lead_stress(a_lead(), 23.0, 100.0, 1.01 * over.melts, 0.0, 0.3).words


@pytest.mark.parametrize(
    ("permitted", "after", "borne"),
    [({}, 0.3, True), ({}, 5.0, None), ({"permitted_current": "8 A"}, 5.0, True),
     ({"permitted_current": "3 A"}, 5.0, False)],
)  # fmt: skip
def test_what_goes_on_is_compared_with_the_permitted_current(permitted, after, borne):
    assert lead_stress(a_lead(**permitted), 23.0, 5.0, 1.0, after, 0.3).borne is borne


def test_no_outweighs_unknown_and_unknown_outweighs_yes():
    yes, no, unknown = (True, "fine"), (False, "too much"), (None, "who knows")
    assert (all_borne([yes]), all_borne([yes, unknown]), all_borne([unknown, no, yes])) == (True, None, False)
    assert (reasons([yes]), reasons([yes, unknown]), reasons([unknown, no])) == ("", "who knows", "too much")
