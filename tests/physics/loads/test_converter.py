"""A converter with an input current limit: its law, and the stable point at which it hangs low."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from tests.physics.bench import capacitor
from tests.physics.loads.driven import bench, load_of, p_of
from tests.physics.loads.driven import run as play

from railwright.physics.loads import converter

PLAIN = {
    "output_power": "8.6 W",
    "efficiency": "86 %",
    "starts_at": "8.4 V",
    "stops_at": "4 V",
    "soft_start": "2 ms",
}
RUNNING = [1.0, 0.0, 0.0]


def law(volts, **more):
    return converter.current(volts, 1.0, p_of(load_of("converter", **PLAIN, **more)), [], RUNNING)


@pytest.mark.parametrize(
    ("volts", "amperes"),
    [(-3.0, 5.0), (0.0, 5.0), (4.0, 2.5), (6.0, 1.6666667), (12.0, 0.8333333), (100.0, 0.1)],
)
def test_without_a_limit_it_draws_constant_power_down_to_2_v(volts, amperes):
    assert law(volts) == pytest.approx(amperes, rel=1e-7)


def test_within_its_limit_it_is_a_resistor_up_to_where_the_limit_begins():
    """10 W at 2 A: from 5 V up constant power, from there down a resistor of 2.5 Ω."""
    assert law(12.0, input_current_limit="2 A") == pytest.approx(10.0 / 12.0)
    assert law(5.0, input_current_limit="2 A") == pytest.approx(2.0)
    assert law(4.2, input_current_limit="2 A") == pytest.approx(4.2 / 2.5)
    assert law(-3.0, input_current_limit="2 A") == 0.0


def test_with_a_drop_out_voltage_the_limit_is_flat_down_to_it():
    given = {"input_current_limit": "1 A", "drop_out": "6 V"}
    found = [law(volts, **given) for volts in (12.0, 10.0, 8.0, 6.0, 4.5)]
    assert found == pytest.approx([10.0 / 12.0, 1.0, 1.0, 1.0, 4.5 / 6.0])
    assert law(5.0, drop_out="6 V") == pytest.approx(10.0 / 6.0 * 5.0 / 6.0)  # without a limit


@pytest.mark.parametrize("limit", ["2 A", "1 A"])
def test_its_law_is_continuous_and_its_regions_lie_between_its_kinks(limit):
    more = {"input_current_limit": limit, **({"drop_out": "6 V"} if limit == "1 A" else {})}
    p = p_of(load_of("converter", **PLAIN, **more))
    grid = np.linspace(4.001, 30.0, 260_000)
    drawn = np.array([converter.current(v, 1.0, p, [], RUNNING) for v in grid[::10]])
    assert np.abs(np.diff(drawn)).max() < 1e-3
    assert drawn.max() <= p[5] + 1e-12
    regions = [converter.region(v, 1.0, p, [], RUNNING) for v in (4.5, 7.0, 20.0)]
    assert regions == ([5, 0, 0] if p[6] == 0.0 else [5, 4, 0])


def test_it_hangs_low_at_a_stable_point():
    """A supply that gives 1.6 A to a converter that wants 2 A: v = 1.6 A · 2.5 Ω, above 'stops_at'."""
    given = {**PLAIN, "stops_at": "3 V", "input_current_limit": "2 A"}
    sim = bench(load_of("converter", **given), capacitor(470e-6))
    sim.set("out", voltage=12.0, current_limit=1.6, on=True)
    sim.set("out", at=0.4, voltage=4.5)  # a dip from which it does not come back
    sim.set("out", at=0.5, voltage=12.0)
    run = play(sim, 1.5)
    assert len(run.times("starts")) == 1
    assert run.times("stops") == []
    assert run.at(0.39, run.volts) == pytest.approx(12.0, abs=0.1)
    assert run.volts[-1] == pytest.approx(1.6 * 2.5, rel=2e-3)
    assert run.amperes[-1] == pytest.approx(1.6, rel=2e-3)
    # and with a limit above its own it comes back
    sim.set("out", current_limit=2.5)
    assert play(sim, 2.0).volts[-1] == pytest.approx(12.0, abs=0.1)


def test_without_its_limit_it_would_restart_for_ever():
    given = {**PLAIN, "stops_at": "3 V"}
    sim = bench(load_of("converter", **given), capacitor(470e-6), everything=True)
    sim.set("out", voltage=12.0, current_limit=1.0, on=True)
    sim.set("out", at=0.4, voltage=4.5)
    sim.set("out", at=0.45, voltage=12.0)
    run = play(sim, 0.6)
    assert len(run.times("stops")) >= 1


def test_the_balance_of_energy():
    """What flows in is what the converter loses and what it delivers."""
    given = {**PLAIN, "input_current_limit": "2 A"}
    sim = bench(load_of("converter", **given), capacitor(470e-6))
    sim.set("out", voltage=12.0, current_limit=5.0, on=True)
    run = play(sim, 0.2)
    delivered = np.trapezoid(0.86 * run.volts * run.amperes, run.time)
    after = run.time > run.times("starts")[0] + 3e-3
    assert (0.86 * run.volts * run.amperes)[after] == pytest.approx(8.6, rel=1e-9)
    flowed = np.trapezoid(run.volts * run.amperes, run.time)
    assert flowed - delivered == pytest.approx(0.14 * flowed)


def test_the_assumption_is_declared_with_a_limit_only():
    for more, said in (({}, False), ({"input_current_limit": "2 A"}, True), ({"drop_out": "6 V"}, False)):
        model = converter.Converter(**PLAIN, **more)
        values, assumptions = model.floats(lambda name, value: value.nominal)
        assert any("drop-out" in sentence for sentence in assumptions) == said
        assert math.isinf(values["input_current_limit"]) == ("input_current_limit" not in more)


@pytest.mark.parametrize(
    "more", [{}, {"input_current_limit": "0.9 A .. 1.2 A"}, {"drop_out": "6 V"}, {"stops_at": "3.9 V .. 5 V"}]
)
def test_what_it_draws_settled_lies_between_corners_that_stand_for_all(more):
    """Against every combination of the ends of its tolerances."""
    ends = {
        "output_power": (7.9, 9.1),
        "efficiency": (0.83, 0.89),
        "starts_at": (8.2, 8.6),
        "stops_at": (3.9, 5.0) if "stops_at" in more else (4.0,),
        "soft_start": (1e-3, 2e-3),
        "input_current_limit": (0.9, 1.2) if "input_current_limit" in more else (math.inf,),
        "drop_out": (6.0,) if "drop_out" in more else (0.0,),
    }
    corners = [list(corner) for corner in itertools.product(*ends.values())]
    chosen = converter.drawing_between(corners)
    assert len(chosen) == (2 if set(more) <= {"stops_at"} else len(corners))
    for volts in (-1.0, 0.0, 3.9, 4.0, 4.5, 5.0, 5.001, 6.0, 8.3, 12.0, 40.0):
        drawn = [converter.draws(volts, corner)[0] for corner in corners]
        of_chosen = [converter.draws(volts, corner)[0] for corner in chosen]
        assert (min(of_chosen), max(of_chosen)) == (min(drawn), max(drawn))
