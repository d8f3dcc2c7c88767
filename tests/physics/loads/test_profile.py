"""Profile: exact at every point, fading, repeating, gated; nothing short is stepped over."""

from __future__ import annotations

import numpy as np
import pytest
from tests.physics.bench import capacitor
from tests.physics.loads.driven import at_voltage, bench, load_of
from tests.physics.loads.driven import run as play

BURST = (
    {"time": "0 s", "current": "10 mA"},
    {"time": "70 ms", "current": "10 mA"},
    {"time": "70 ms", "current": "1.5 A"},
    {"time": "70.02 ms", "current": "1.5 A"},
    {"time": "70.02 ms", "current": "10 mA"},
    {"time": "100 ms", "current": "60 mA"},
)
CAPACITOR = capacitor(10e-6)
"""As a real load has it: a step of current against a lead's inductance and a connector's 10 nF rings."""
TIMES = np.array([0.0, 0.07, 0.07, 0.07002, 0.07002, 0.1])
AMPERES = np.array([0.01, 0.01, 1.5, 1.5, 0.01, 0.06])


def expected(times, period=None):
    """Values of the profile, away from its jumps."""
    local = times if period is None else np.mod(times, period)
    rows = np.minimum(np.searchsorted(TIMES, local, side="right"), len(TIMES) - 1)
    before = rows - 1
    width = np.where(TIMES[rows] > TIMES[before], TIMES[rows] - TIMES[before], 1.0)
    share = np.clip((local - TIMES[before]) / width, 0.0, 1.0)
    return AMPERES[before] + share * (AMPERES[rows] - AMPERES[before])


def away(times, period=0.1):
    """Where no jump is near."""
    local = np.mod(times, period)
    near = np.abs(local[:, None] - TIMES[None, :]).min(axis=1)
    return (near > 1e-9) & (np.abs(local - period) > 1e-9)


def test_a_burst_of_twenty_microseconds_is_not_stepped_over():
    sim = bench(load_of("profile", points=BURST, compliance="2 V"), CAPACITOR)
    sim.set("out", voltage=12.0, current_limit=20.0, on=True)
    run = play(sim, 0.2)
    late = (run.time > 0.02) & away(run.time, 1.0)
    assert np.abs(run.amperes - expected(run.time))[late].max() < 1e-9
    assert {0.07, 0.07002, 0.1} <= set(run.time)
    assert run.amperes[run.time > 0.1] == pytest.approx(0.06)  # the last value stays
    assert run.amperes.max() == 1.5
    burst = run.time[run.amperes == 1.5]
    assert (burst[0], burst[-1]) == pytest.approx((0.07, 0.07002), abs=2e-6)
    assert burst[0] == 0.07


def test_it_repeats_without_drift():
    load = load_of("profile", points=BURST, compliance="2 V", repeats="always")
    sim = bench(load, CAPACITOR)
    sim.set("out", voltage=12.0, current_limit=20.0, on=True)
    play(sim, 9.95)
    run = play(sim, 10.3)
    good = away(run.time)
    assert np.abs(run.amperes - expected(run.time, 0.1))[good].max() < 1e-8
    assert (np.diff(np.unique(run.time[run.amperes == 1.5])) > 0.09).sum() == 3  # four bursts


def test_each_point_of_a_repeating_profile_is_met_in_an_ordinary_rehearsal():
    """At the tolerance of a rehearsal, through quiet time in which steps would be far longer than a burst."""
    from railwright.physics.simulation import Simulation

    sim = Simulation(
        bench(load_of("profile", points=BURST, compliance="2 V", repeats="always"), CAPACITOR).circuit
    )
    sim.set("out", voltage=12.0, current_limit=20.0, on=True)
    samples = sim.advance(5.0).samples["main"]
    bursts = np.unique(np.round((samples.time[samples.current > 0.5] - 0.07) / 0.1)).size
    assert bursts == 50


def test_below_its_compliance_it_fades_and_below_zero_it_draws_nothing():
    load = load_of("profile", points=BURST[:2], compliance="4 V")
    for volts, amperes in ((8.0, 0.01), (2.0, 0.005), (-8.0, 0.0)):
        run = at_voltage(load, volts, 0.05, CAPACITOR)
        assert run.amperes[-1] == pytest.approx(amperes, rel=1e-3)


def test_power_is_divided_by_the_voltage():
    points = ({"time": "0 s", "power": "2 W"}, {"time": "1 s", "power": "6 W"})
    run = at_voltage(
        load_of("profile", points=points, compliance="4 V", factor="150 %"), 10.0, 1.2, CAPACITOR
    )
    late = run.time > 0.02
    power = 3.0 + 6.0 * np.minimum(run.time, 1.0)
    assert (run.volts * run.amperes)[late] == pytest.approx(power[late], rel=1e-9)
    run = at_voltage(load_of("profile", points=points, compliance="4 V"), 2.0, 0.05, CAPACITOR)
    assert run.amperes[-1] == pytest.approx((2.0 + 4.0 * 0.05) / 4.0 * run.volts[-1] / 4.0, rel=1e-9)


def test_its_clock_starts_when_the_gate_opens():
    given = {"points": BURST, "compliance": "2 V", "starts_at": "9 V", "stops_at": "7 V"}
    sim = bench(load_of("profile", **given), CAPACITOR)
    sim.set("out", at=0.03, voltage=12.0, current_limit=20.0, on=True)
    sim.set("out", at=0.15, voltage=5.0)
    sim.set("out", at=0.3, voltage=12.0)
    run = play(sim, 0.5)
    first, second = run.times("starts")
    (stopped,) = run.times("stops")
    assert run.at(first, run.volts) == pytest.approx(9.0, abs=1e-4)
    assert run.at(stopped, run.volts) == pytest.approx(7.0, abs=1e-4)
    assert 0.03 < first < 0.15 < stopped < 0.3 < second
    assert np.abs(run.amperes[(run.time > stopped) & (run.time < second)]).max() == 0.0
    assert np.abs(run.amperes[run.time < first]).max() == 0.0
    for begins in (first, second):
        at_burst = run.time[(run.amperes == 1.5) & (run.time > begins)]
        assert at_burst[0] == pytest.approx(begins + 0.07, abs=1e-12)
        inside = (run.time > begins) & (run.time < min(begins + 0.1, 0.5 if begins == second else 0.15))
        inside &= away(run.time - begins, 1.0)
        assert np.abs(run.amperes - expected(run.time - begins))[inside].max() < 1e-9


def test_a_long_profile_of_many_points():
    rng = np.random.default_rng(7)
    values = rng.uniform(0.0, 1.0, 2000)
    points = tuple(
        {"time": f"{number * 1e-3:.6f} s", "current": f"{value:.6f} A"} for number, value in enumerate(values)
    )
    run = at_voltage(load_of("profile", points=points, compliance="2 V"), 12.0, 2.1, CAPACITOR)
    times = np.arange(2000) * 1e-3
    late = run.time > 0.02
    assert run.amperes[late] == pytest.approx(np.interp(run.time, times, np.round(values, 6))[late], abs=1e-9)
