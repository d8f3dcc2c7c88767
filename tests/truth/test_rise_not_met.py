"""A stated rise that the output's own capacitance does not allow is said, and no reference moves faster than
the rated current could take it.

The truth is integrated here in small steps: with the resistor that draws full current, or full power where
that is less, C dv/dt = min(I, P / v) - v / R goes from 10 to 90 % of full scale; without a bound of the power
that takes ln 9 · C V / I.
"""

from __future__ import annotations

import math

import pytest
from tests.truth.table import TruthTable, Within

from railwright.physics.output_stage import OutputFigures, derive_output_stage

TICK = 1e-6
ALLOWED = 0.01
"""A computed rise that is longer than the stated one by less is not said."""


def rises_in(
    volts: float, amperes: float, power: float, farads: float, slew: float = math.inf, tick: float = TICK
) -> float:
    """Time from 10 to 90 % of full scale with full load [s], by Euler's rule."""
    ohms = max(volts / amperes, volts**2 / power)
    at, time = 0.1 * volts, 0.0
    while at < 0.9 * volts:
        at += tick * min(slew, (min(amperes, power / at) - at / ohms) / farads)
        time += tick
    return time


def test_the_judge_agrees_with_the_closed_form() -> None:
    assert rises_in(60.0, 6.0, math.inf, 330e-6) == pytest.approx(math.log(9) * 330e-6 * 10.0, rel=2e-3)


@pytest.mark.case("rise-not-met")
@pytest.mark.parametrize(
    ("volts", "amperes", "power", "farads", "rise"),
    [
        (60.0, 6.0, 360.0, 330e-6, 6e-3),  # as it was found: 7.25 ms
        (30.0, 10.0, 300.0, 1.5e-3, 8e-3),
        (20.0, 5.0, 100.0, 470e-6, 3e-3),
        (80.0, 2.0, 160.0, 100e-6, 8e-3),
        (60.0, 6.0, 180.0, 330e-6, 4e-3),
        # What can be met is met, and nothing is said.
        (60.0, 6.0, 360.0, 330e-6, 9e-3),
        (30.0, 10.0, 300.0, 220e-6, 5e-3),
        (60.0, 6.0, 180.0, 220e-6, 8e-3),
    ],
)
def test_a_stated_rise(
    volts: float, amperes: float, power: float, farads: float, rise: float, truth_table: TruthTable
) -> None:
    fastest = rises_in(volts, amperes, power, farads)
    met = fastest <= rise * (1.0 + ALLOWED)
    stage, assumptions = derive_output_stage(
        OutputFigures(volts, amperes, power=power, rise=rise, output_capacitance=farads)
    )
    said = [each for each in assumptions if f"{rise * 1e3:.3g} ms" in each]
    truth_table.compare(f"a rise in {rise * 1e3:g} ms is said not to be met", not met, bool(said))
    most = max(0.8 * volts / rise, amperes / farads)
    truth_table.compare("rate of the reference", Within(0.8 * volts / rise, 1.001 * most), stage.rise, "V/s")
    computed = rises_in(volts, amperes, power, farads, stage.rise)
    truth_table.compare("rise that is computed", pytest.approx(max(rise, fastest), rel=0.02), computed, "s")
