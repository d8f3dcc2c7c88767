"""Conductors as they are bought."""

from __future__ import annotations

import pytest

from railwright.documents.conductor import Conductor


@pytest.mark.parametrize(
    ("text", "gauge", "area", "iec_class"),
    [
        ("AWG 18", 18, None, None),
        ("awg18", 18, None, None),
        ("AWG 0", 0, None, None),
        ("AWG 1/0", 0, None, None),
        ("AWG 4/0", -3, None, None),
        ("AWG 40", 40, None, None),
        ("0.5 mm2 class 5", None, 0.5e-6, 5),
        ("0.75 mm² class 6", None, 0.75e-6, 6),
    ],
)
def test_a_conductor(text, gauge, area, iec_class):
    conductor = Conductor.parse(text)
    assert (conductor.gauge, conductor.iec_class, conductor.text) == (gauge, iec_class, text)
    assert conductor.area == (None if area is None else pytest.approx(area))


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ("AWG 41", "; gauges go from AWG 4/0 to AWG 40"),
        ("AWG -1", ""),
        ("0.5 mm2", "; add its class, such as '0.5 mm2 class 5'"),
        ("0.5 mm2 class 3", "; classes are 1, 2, 5 and 6"),
        (
            "3 mm2 class 5",
            "; IEC 60228 class 5 has no section of 3 mm²: write what it is nearest to, 2.5 mm2 class 5 or "
            "4 mm2 class 5 or AWG 12",
        ),
        (
            "0.25 mm2 class 5",
            "; IEC 60228 class 5 has no section of 0.25 mm²: write what it is nearest to, 0.5 mm2 class 5 or "
            "AWG 23",
        ),
        (
            "0 mm2 class 5",
            "; IEC 60228 class 5 has no section of 0 mm²: write what it is nearest to, 0.5 mm2 class 5",
        ),
        ("thick", ""),
        (18, ""),
    ],
)
def test_no_conductor(text, remedy):
    got = text if isinstance(text, int) else f"'{text}'"
    with pytest.raises(ValueError, match=r"^expected a conductor") as caught:
        Conductor.parse(text)
    assert str(caught.value) == (
        f"expected a conductor such as 'AWG 18' or '0.5 mm2 class 5', got {got}{remedy}"
    )
