"""Unlike outputs in series: each empties and charges a capacitor of its own, at its share of the voltage."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from tests.settings.station import Edit, of_rule, settled

SERIES: Edit = (
    "procedure",
    "main:       {from: left.1, ",
    "main:       {from: {series: [left.1, left.2]}, ",
)
CONVERTER = """      - converter:
          output_power: 3.6 W ± 10 %     # ± is a bound, relative to the value
          efficiency: 83 % .. 89 %
          starts_at: 8.2 V .. 8.6 V
          stops_at: 7.4 V .. 7.8 V
          soft_start: 8 ms
"""


def own(farads: tuple[float, float], ohms: tuple[float, float]) -> tuple[Edit, ...]:
    """Both outputs' capacitors [F] and bleeders [Ω]."""
    return (
        ("bench", "output_capacitance: 220 uF", f"output_capacitance: {farads[0] * 1e6:g} uF"),
        ("bench", "bleeder: 1 kohm", f"bleeder: {ohms[0]:g} ohm"),
        (
            "bench",
            "      2: {same_as: 1}",
            f"      2: {{same_as: 1, output_capacitance: {farads[1] * 1e6:g} uF, bleeder: {ohms[1]:g} ohm}}",
        ),
    )


def load(farads: float, part: str) -> tuple[Edit, Edit]:
    """A capacitor [F] and one more part as the load of main."""
    bank = ("device", "capacitance: 1000 uF ± 20 %", f"capacitance: {farads * 1e6:g} uF")
    return bank, ("device", CONVERTER, f"      - {part}\n")


def emptied(
    farads: tuple[float, float], ohms: tuple[float, float], beside: float, amperes, level: float
) -> float:
    """When a load's capacitor [F] is down to 1 V [s]: node equations, a reverse diode across each output.

    amperes: (voltage [V]) -> current of the load [A].
    """
    inverse, stiff = 1.0 / np.array(farads), 1e4

    def slopes(_, v):
        leaks = v / np.array(ohms) + stiff * np.minimum(v, 0.0)
        through = (np.sum(leaks * inverse) - amperes(v.sum()) / beside) / (inverse.sum() + 1.0 / beside)
        return (through - leaks) * inverse

    def down(_, v):
        return np.sum(v) - 1.0

    down.terminal = True
    found = solve_ivp(
        slopes, (0.0, 1e4), [level / 2, level / 2], "LSODA", events=down, rtol=1e-9, atol=1e-10, max_step=0.5
    )
    return float(found.t[-1])


@pytest.mark.parametrize(
    ("farads", "ohms", "beside", "part", "amperes"),
    [
        ((1000e-6, 100e-6), (10e3, 1e3), 22e-6, "resistor: 1 Mohm", lambda v: v / 1e6),
        ((100e-6, 1000e-6), (1e3, 10e3), 22e-6, "resistor: 1 Mohm", lambda v: v / 1e6),
        ((330e-6, 150e-6), (1500.0, 2200.0), 470e-6, "resistor: 100 kohm", lambda v: v / 1e5),
        ((1000e-6, 47e-6), (10e3, 10e3), 22e-6, "resistor: 33 kohm", lambda v: v / 33e3),
        (
            (2200e-6, 100e-6),
            (20e3, 20e3),
            100e-6,
            "constant_current: {current: 2 mA, compliance: 0.5 V}",
            lambda v: 2e-3 * min(1.0, v / 0.5),
        ),
        ((220e-6, 220e-6), (1e4, 1e4), 100e-6, "resistor: 1 Mohm", lambda v: v / 1e6),
    ],
)
def test_unlike_outputs_in_series_empty_as_slowly_as_the_slowest_of_them(
    farads, ohms, beside, part, amperes, tmp_path: Path
) -> None:
    """The series capacitance times the sum of the bleeders is no time constant unless the outputs' are alike.

    What is said is the outcome of the node equations, which the load's draw and what it empties are part of.
    """
    edits = (SERIES, *own(farads, ohms), *load(beside, part))
    (note,) = [each for each in of_rule(settled(tmp_path, *edits), "slow-discharge") if each.about == "main"]
    said = re.search(r"to 1 V in up to ([\d.]+)[ \u00a0]s", note.why)
    assert said is not None, note.why
    assert float(said[1]) == pytest.approx(emptied(farads, ohms, beside, amperes, 16.0), rel=3e-3)
