"""`outside-operating` says from when to when a set point is outside what the input works at, and how long.

The truth is worked out here from the figures of the steps alone: the set point as a function of time, written
out by hand for each variant, and looked at every 0.1 ms.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from tests.settings.station import Edit, of_rule, settled

LOW, HIGH = 9.0, 16.0
STEP = 1e-4
START = 0.212 + 2.0
"""The second input begins 50 ms after the first, takes 24 V / (2 V/ms) to rise and 150 ms to settle; and
2 s are held.
"""

SWEEP = "sweep: {input: main, from: 9 V, to: 16 V, points: 8, dwell: 500 ms}"
STATION_SHAPE = """      segments:
        - {step_to: 12 V}
        - {hold: 500 ms}
        - {line_to: 6 V, over: 2 s}
        - {hold: 500 ms}
        - {line_to: 12 V, over: 2 s}
        - {hold: 500 ms}
"""


def shape(*segments: str) -> Edit:
    lines = "".join(f"        - {{{each}}}\n" for each in segments)
    return "procedure", STATION_SHAPE, f"      segments:\n{lines}"


def swept(to: float, points: int, dwell: float) -> tuple[Edit, NDArray[np.float64]]:
    """Another sweep from 9 V, and its levels one dwell after the other, each 0.1 ms."""
    edit = (
        "procedure",
        SWEEP,
        f"sweep: {{input: main, from: 9 V, to: {to} V, points: {points}, dwell: {dwell} s}}",
    )
    return edit, np.repeat(np.linspace(9.0, to, points), round(dwell / STEP))


def lines(*corners: tuple[float, float]) -> NDArray[np.float64]:
    """A set point along (time, voltage), each 0.1 ms."""
    time, voltage = zip(*corners, strict=True)
    return np.interp(np.arange(0.0, time[-1], STEP) + STEP / 2.0, time, voltage)


def outside(set_point: NDArray[np.float64], start: float) -> tuple[float, float, float, int]:
    """First and last instant outside, time outside in all [s], and how often it goes outside."""
    is_out = (set_point < LOW - 1e-6) | (set_point > HIGH + 1e-6)
    (at,) = np.nonzero(is_out)
    times = int(is_out[0]) + int((np.diff(is_out.astype(int)) == 1).sum())
    return start + at[0] * STEP, start + (at[-1] + 1) * STEP, float(is_out.sum()) * STEP, times


def one_sine() -> NDArray[np.float64]:
    """10 V with 3 V peak to peak at 2 Hz for 3 s, in 32 straight lines a period as docs/shapes.md says."""
    corner = np.arange(0, 3 * 2 * 32 + 1) / 64.0
    time = np.arange(0.0, 3.0, STEP) + STEP / 2.0
    return np.interp(time, corner, 10.0 + 1.5 * np.sin(2.0 * np.pi * 2.0 * corner))


AFTER_SWEEP = START + 4.0
BROWN_OUT = lines((0, 12), (0.5, 12), (2.5, 6), (3, 6), (5, 12), (5.5, 12))
TWO_DIPS = lines((0, 12), (1, 12), (1.000001, 7), (1.3, 7), (1.300001, 12), (2, 12), (2.000001, 8), (2.05, 8))
SPIKE = lines((0, 12), (1, 12), (3, 18), (4, 8), (5, 12))


@pytest.mark.parametrize(
    ("step", "edits", "truth"),
    [
        ("brown-out", (), outside(BROWN_OUT, AFTER_SWEEP)),
        (
            "brown-out",
            (shape("step_to: 12 V", "hold: 1 s", "step_to: 7 V", "hold: 300 ms", "step_to: 12 V",
                   "hold: 700 ms", "step_to: 8 V", "hold: 50 ms", "step_to: 12 V", "hold: 1 s"),),
            outside(TWO_DIPS, AFTER_SWEEP),
        ),
        (
            "brown-out",
            (shape("step_to: 12 V", "hold: 1 s", "line_to: 18 V, over: 2 s", "line_to: 8 V, over: 1 s",
                   "line_to: 12 V, over: 1 s"),),
            outside(SPIKE, AFTER_SWEEP),
        ),
        (
            "brown-out",
            (shape("ripple: sine, peak_to_peak: 3 V, frequency: 2 Hz, for: 3 s, on: 10 V"),),
            outside(one_sine(), AFTER_SWEEP),
        ),
        ("line sweep", (swept(18.0, 4, 0.4)[0],), outside(swept(18.0, 4, 0.4)[1], START)),
        ("line sweep", (swept(7.0, 5, 0.25)[0],), outside(swept(7.0, 5, 0.25)[1], START)),
    ],
    ids=["slow dip", "two dips", "above and below", "ripple", "sweep above", "sweep below"],
)  # fmt: skip
def test_from_to_and_how_long_are_those_of_the_set_point(tmp_path, step, edits, truth):
    """Also where a set point goes outside again and again, above and below."""
    found = of_rule(settled(tmp_path, *edits), "outside-operating")
    (finding,) = [each for each in found if f"'{step}'" in each.why]
    figures = {figure.name: figure.value for figure in finding.figures}
    start, end, total, times = truth
    assert figures["outside_from"] == pytest.approx(start, abs=3 * STEP)
    assert figures["outside_to"] == pytest.approx(end, abs=3 * STEP)
    assert figures["outside_for"] == pytest.approx(total, abs=3 * STEP * times)
    assert figures.get("times", 1.0) == times


def test_a_level_that_stays_counts_until_it_is_left(tmp_path):
    """The sweep ends at 7 V, and the step after it holds that for 3 s more."""
    edit, _ = swept(7.0, 5, 0.25)
    hold = ("procedure", "    name: line sweep\n", "    name: line sweep\n  - hold: 3 s\n    name: low\n")
    found = of_rule(settled(tmp_path, edit, hold), "outside-operating")
    (finding,) = [each for each in found if "'line sweep'" in each.why]
    figures = {figure.name: figure.value for figure in finding.figures}
    # 9, 8.5, 8, 7.5 and 7 V for 0.25 s each: outside from 0.25 s on, and then for the hold.
    assert figures["outside_from"] == pytest.approx(START + 0.25)
    assert figures["outside_for"] == pytest.approx(1.0 + 3.0)


def test_a_power_up_to_a_low_voltage_counts_from_its_end(tmp_path):
    """8 V at 2 V/ms are there after 4 ms; until the sweep begins the input stands at them."""
    low = ("procedure", "settle: 150 ms}", "settle: 150 ms, voltages: {main: 8 V}}")
    (finding,) = [
        f for f in of_rule(settled(tmp_path, low), "outside-operating") if "'brown-out'" not in f.why
    ]
    figures = {figure.name: figure.value for figure in finding.figures}
    assert figures["outside_from"] == pytest.approx(0.004)
    assert figures["outside_to"] == pytest.approx(START)
