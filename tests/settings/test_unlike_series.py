"""Unlike outputs in series: each empties and charges a capacitor of its own, at its share of the voltage."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from tests.bench import CONVERTER
from tests.settings.station import TODAY, Edit, of_rule, settled, station

from railwright.evaluation.observability import surge_path
from railwright.settings.constraints.ovp import falling
from railwright.settings.constraints.trip_delay import short_heat
from railwright.settings.context import FedInput, sources_of
from railwright.settings.settle import settle
from railwright.settings.windows import rise

SERIES: Edit = (
    "procedure",
    "main:       {from: left.1, ",
    "main:       {from: {series: [left.1, left.2]}, ",
)


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
    farads: tuple[float, float],
    ohms: tuple[float, float],
    beside: float,
    amperes,
    level: float,
    until: float = 1.0,
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
        return np.sum(v) - until

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


RANGES = [(36.0, 36.0), (36.0, 12.0), (12.0, 36.0)]
"""Full scales of both outputs [V], by which they share the voltage."""


def second_range(volts: float) -> Edit:
    return ("bench", "{same_as: 1, ", f"{{same_as: 1, voltage: 0 V .. {volts:g} V, ")


def in_series(folder: Path, farads, ranges, *edits: Edit) -> FedInput:
    """Main behind both outputs; its set voltage is 12 V."""
    full = ("bench", "voltage: 0 V .. 36 V", f"voltage: 0 V .. {ranges[0]:g} V")
    points = ("bench", "points: {at_most: 200, dwell: 20 ms .. 300 s, between: [step, line]}", "")
    sources, _ = sources_of(
        station(folder, SERIES, *own(farads, (1e3, 1e3)), full, second_range(ranges[1]), points, *edits)
    )
    return sources["main"]


def followed(farads, shares, beside, amperes, limit: float, rate: float, level: float) -> float:
    """Time that outputs in series spend in their limit [s] while their set points rise together at a rate to
    a level: each gives its limit until it holds its share.
    """
    inverse, stiff, parts = 1.0 / np.array(farads), 200.0, np.array(shares)

    def given(t, v):
        return np.clip(stiff * (parts * min(rate * t, level) - v), 0.0, limit)

    def slopes(t, v):
        push = np.sum(given(t, v) * inverse) + amperes(max(v.sum(), 0.0)) / beside
        return (given(t, v) - push / (inverse.sum() + 1.0 / beside)) * inverse

    end = 3.0 * level / rate + 4.0 * (max(farads) + beside) * level / limit
    found = solve_ivp(
        slopes, (0.0, end), [0.0] * len(farads), "LSODA", rtol=1e-8, atol=1e-9, max_step=end / 4e3
    )
    inside = [np.max(given(t, v)) >= 0.999 * limit for t, v in zip(found.t, found.y.T, strict=True)]
    return float(np.sum(np.diff(found.t)[np.array(inside[:-1])]))


@pytest.mark.parametrize("ranges", RANGES)
@pytest.mark.parametrize("farads", [(1000e-6, 100e-6), (47e-6, 470e-6), (220e-6, 220e-6)])
def test_a_rise_is_within_the_limit_of_the_output_that_has_the_most_to_charge(
    farads, ranges, tmp_path: Path
) -> None:
    """At the fastest rate of the window no output is in its limit, a little above it one is."""
    drawn, beside, limit = 0.1, 22e-6, 0.2
    constant = load(beside, "constant_current: {current: 100 mA, compliance: 0.1 mV}")
    source = in_series(tmp_path, farads, ranges, *constant)
    found = rise.window(source, station(tmp_path, SERIES), limit)
    assert found is not None
    (bound,) = [end.value for end in found.ends if end.key == "limit"]
    least = source.surely(limit)
    shares = np.array(ranges) / sum(ranges)
    for factor, inside in ((0.97, False), (1.05, True)):
        spent = followed(
            farads, shares, beside, lambda v: drawn * min(1.0, v / 1e-4), least, factor * bound, 12.0
        )
        assert (spent > 0.5e-3) is inside, (factor, spent)


@pytest.mark.parametrize("ranges", RANGES)
@pytest.mark.parametrize("farads", [(1000e-6, 100e-6), (47e-6, 470e-6), (220e-6, 220e-6)])
@pytest.mark.parametrize(
    ("part", "amperes", "close"),
    [
        ("constant_current: {current: 100 mA, compliance: 0.1 mV}", lambda v: 0.1 * min(1.0, v / 1e-4), 0.03),
        ("resistor: 100 ohm", lambda v: v / 100.0, 0.25),
    ],
)
def test_a_trip_delay_is_as_long_as_the_output_that_charges_longest_is_in_its_limit(
    part, amperes, close, farads, ranges, tmp_path: Path
) -> None:
    source = in_series(tmp_path, farads, ranges, *load(22e-6, part))
    limit = 0.2
    charging = source.longest_charging(limit)
    assert charging is not None
    spent = followed(
        farads, np.array(ranges) / sum(ranges), 22e-6, amperes, limit, 2000.0, charging.move.stop
    )
    assert spent * 0.995 <= charging.time <= spent * (1.0 + close), charging.move


def shorted(farads, volts, ohms: float, henries: float) -> tuple[float, float]:
    """Peak [A] and ∫ i² dt [A²s] of outputs in series, charged to these voltages, behind R and L; a reverse
    diode across each.
    """

    def slopes(_, y):
        *v, i = y
        into = 1e4 * np.minimum(v, 0.0)
        return [*((-i - into) / np.array(farads)), (np.sum(v) - ohms * i) / henries]

    end = 20.0 * (max(farads) * ohms + henries / ohms)
    found = solve_ivp(slopes, (0.0, end), [*volts, 0.0], "Radau", rtol=1e-6, atol=1e-7, max_step=end / 3e3)
    current = found.y[-1]
    return float(current.max()), float(np.trapezoid(current**2, found.t))


UNLIKE = [(1000e-6, 100e-6), (47e-6, 470e-6), (220e-6, 220e-6)]


@pytest.mark.parametrize("farads", UNLIKE)
def test_the_lead_takes_all_that_outputs_in_series_hold_in_a_short(farads, tmp_path: Path) -> None:
    """½ Σ C_k v_k² / R: once the smaller one is empty, its reverse diode lets the other's current past."""
    source = in_series(tmp_path, farads, (36.0, 36.0))
    ohms = source.resistance.low
    _, heat = shorted(farads, [8.0, 8.0], ohms, 1e-9)
    assert short_heat(source, 0.0, 0.0) == pytest.approx(heat, rel=0.02)


@pytest.mark.parametrize("henries", [0.2e-6, 5e-6])
@pytest.mark.parametrize("farads", UNLIKE)
def test_no_surge_out_of_outputs_in_series_exceeds_its_bound(farads, henries, tmp_path: Path) -> None:
    """Nor is the bound far above it; the regulator's own current is left out of both."""
    inductance = (
        "bench",
        "contact_resistance_loop: 8 mohm",
        f"contact_resistance_loop: 8 mohm, inductance: {henries / 1.5 * 1e6:g} uH/m",
    )
    documents = station(tmp_path, SERIES, *own(farads, (1e3, 1e3)), inductance)
    path = surge_path(documents.bench, settle(documents, TODAY).set_points["main"])
    assert path.resistance is not None
    peak, _ = shorted(farads, [8.0, 8.0], path.resistance, henries)
    found = replace(path, limit=0.0, first=0.0, response=None).largest(16.0)
    assert found is not None
    assert peak <= found.current <= 1.6 * peak


@pytest.mark.parametrize("ohms", [(10e3, 1e3), (1e3, 10e3), (2e3, 2e3)])
@pytest.mark.parametrize("farads", UNLIKE)
def test_an_input_falls_as_fast_as_unlike_outputs_in_series_empty(farads, ohms, tmp_path: Path) -> None:
    sources, _ = sources_of(station(tmp_path, SERIES, *own(farads, ohms), *load(22e-6, "resistor: 1 Mohm")))
    level, overshoot = 20.0, 0.2
    truth = emptied(farads, ohms, 22e-6, lambda v: v / 1e6, level + overshoot, level)
    assert falling(sources["main"], overshoot, level) == pytest.approx(truth, rel=0.02)
