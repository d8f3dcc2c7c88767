"""Each measure on waveforms whose answer is known by hand, and on records that cannot tell."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import get_args

import numpy as np
import pytest
from tests.said import says

from railwright.documents.procedure import Requirement
from railwright.measures import MEASURES
from railwright.measures.level_change import LevelChange
from railwright.measures.outcome import Beyond, CannotMeasure
from railwright.traces import Traces

from .scene import CURRENT, EXACT, MODEL, RECORDER, VOLTAGE, Scene, brown_out, power_up, view


def steady(volts: float = 12.0, amps: float = 0.3) -> Scene:
    return Scene.of((0.0, volts, amps), (3.0, volts, amps))


def test_a_requirement_can_name_every_measure_and_no_other() -> None:
    assert get_args(Requirement.model_fields["measure"].annotation) == tuple(MEASURES)
    assert {name: measure.name for name, measure in MEASURES.items()} == {name: name for name in MEASURES}


@pytest.mark.parametrize(
    ("measure", "expected"),
    [("mean_voltage", 12.0), ("mean_current", 0.3), ("mean_power", 3.6), ("charge", 0.6), ("energy", 7.2)],
)
def test_integrals_of_a_steady_waveform(measure: str, expected: float) -> None:
    scene = steady()
    got = MEASURES[measure](view(scene.truth(), EXACT, 0.5, 2.5))
    assert got.value == pytest.approx(expected, rel=1e-12)
    assert got.low == got.high == got.value
    read = MEASURES[measure](view(scene.read(1), MODEL, 0.5, 2.5))
    assert read.low <= expected <= read.high


@pytest.mark.parametrize("measure", ["mean_power", "peak_current", "turn_off_voltage", "restarts"])
@pytest.mark.parametrize(
    ("start", "said"), [(4.5, ("ends", "1.5 s", "before")), (-2.0, ("begins", "1.52 s", "after"))]
)
def test_a_record_that_lies_outside_the_step_is_said_to(
    measure: str, start: float, said: tuple[str, ...]
) -> None:
    record = steady().read(1)  # 3 s long, the first value at 20 ms
    seen = view(record, MODEL, start, start + 0.5)
    with pytest.raises(CannotMeasure) as problem:
        MEASURES[measure](replace(seen, beside=None, stops_at=(8.0, 9.0), restart=0.01))
    assert says(str(problem.value), *said)
    assert says(problem.value.would_decide, "covers the step")


def test_what_is_systematic_is_not_divided_by_the_number_of_readings() -> None:
    short = MEASURES["mean_current"](view(steady().read(2), MODEL, 0.5, 0.8))
    long = MEASURES["mean_current"](view(steady().read(2), MODEL, 0.5, 2.8))
    offset = {c.source: c.standard for c in long.contributions}["left.1 current offset"]
    assert offset == pytest.approx(CURRENT.offset / np.sqrt(3.0))
    assert long.high - long.low == pytest.approx(short.high - short.low, rel=0.03)
    assert long.high - long.low > 1.8 * CURRENT.offset


def test_one_error_in_both_factors_of_a_product_is_one_error() -> None:
    """d(i²) = 2 i di, for its noise as well: 0.6 A times ±3 mA, and times 0.2 mA."""
    current = view(steady().read(2), MODEL, 0.5, 2.5).current()
    squared = current.times(current)
    shapes = {each.source: each.shape for each in squared.systematic}
    assert len(shapes) == len(squared.systematic)
    assert shapes["left.1 current offset"] == pytest.approx(2.0 * current.values * CURRENT.offset)
    assert squared.noise == pytest.approx(0.6 * CURRENT.noise, rel=0.02)


def test_an_error_of_the_current_counts_once_in_a_power_whose_voltage_is_carried_over_the_lead() -> None:
    """p = (v - R i) i, so dp/di = v - 2 R i: 12 V - 2 Ω · 2 · 1 A = 8 V, of a ±3 mA offset 24 mW."""
    model = replace(MODEL, lead=(2.0, 2.0))
    read = steady(12.0, 1.0).read(3, model)
    terminals = Traces(
        read.time, {"terminal_voltage": read.columns["voltage"], "current": read.columns["current"]}
    )
    got = MEASURES["mean_power"](view(terminals, model, 0.5, 2.5))
    sources = [each.source for each in got.contributions]
    assert len(sources) == len(set(sources))
    offset = next(each.standard for each in got.contributions if each.source == "left.1 current offset")
    assert offset == pytest.approx(8.0 * CURRENT.offset / np.sqrt(3.0), rel=0.02)


def test_noise_is_divided_by_the_root_of_the_number_of_readings() -> None:
    noisy = replace(MODEL, current=(replace(CURRENT, of_value=0.0, offset=0.0, resolution=0.0, noise=0.01),))
    standards = []
    for end in (1.0, 2.5):
        got = MEASURES["mean_current"](view(steady().read(3, noisy), noisy, 0.5, end))
        standards.append(next(c.standard for c in got.contributions if c.source == "noise"))
    assert standards[0] / standards[1] == pytest.approx(2.0, rel=0.05)
    assert standards[1] == pytest.approx(0.01 / np.sqrt(200), rel=0.1)


def test_a_reading_handed_over_twice_counts_once() -> None:
    once = MEASURES["mean_current"](view(steady().read(3), MODEL, 0.5, 2.5))
    twice = MEASURES["mean_current"](view(steady().read(3, every=5e-3), MODEL, 0.5, 2.5))
    noise = [next(c.standard for c in got.contributions if c.source == "noise") for got in (once, twice)]
    assert noise[1] == pytest.approx(noise[0], rel=0.02)


def test_a_turn_off_voltage_from_the_other_end_of_the_lead_counts_its_drop() -> None:
    """At the terminals, whatever the lead is called: while the current falls, so does the drop."""
    seen = brown_out().read(3)
    columns = {"terminal_voltage": seen.columns["voltage"], "current": seen.columns["current"]}
    model = replace(MODEL, lead_name="thin pair")
    got = MEASURES["turn_off_voltage"](view(Traces(seen.time, columns), model, 0.05, 2.9))
    drop = next(c.standard for c in got.contributions if c.source == "lead drop while the current changes")
    assert drop == pytest.approx(0.55 * 0.075 / 2.0 / np.sqrt(3.0), rel=0.2)


def test_energy_of_a_computed_ramp_is_that_of_straight_lines() -> None:
    """v = 10 t, i = t: ∫ 10 t² dt, which a trapezoid over the two rows would make half as large again."""
    truth = Scene.of((0.0, 0.0, 0.0), (1.0, 10.0, 1.0)).truth()
    assert MEASURES["energy"](view(truth, EXACT, 0.0, 0.5)).value == pytest.approx(10.0 * 0.125 / 3.0)
    assert MEASURES["mean_power"](view(truth, EXACT, 0.0, 1.0)).value == pytest.approx(10.0 / 3.0)


def test_charge_of_a_power_up() -> None:
    """1 A for 12 ms, with its edges, then 0.35 A."""
    scene = power_up()
    expected = 0.0119 + 0.5 * 0.0001 + 0.5 * 1.35 * 0.0001 + 0.35 * (0.25 - 0.0121)
    exact = MEASURES["charge"](view(scene.truth(), EXACT, 0.0, 0.25, switched_on=0.0))
    assert exact.value == pytest.approx(expected, rel=1e-9)
    inside = 0
    for seed in range(40):
        got = MEASURES["charge"](view(scene.read(seed), MODEL, 0.0, 0.25, switched_on=0.0))
        inside += got.low <= expected <= got.high
        assert got.value == pytest.approx(expected, abs=4e-3)
    assert inside >= 36


def test_sources_of_the_charge_are_written_down() -> None:
    got = MEASURES["charge"](view(power_up().read(5), MODEL, 0.0, 0.25, switched_on=0.0))
    named = {c.source for c in got.contributions}
    assert {"between readings", "time of the readings", "left.1 current offset", "noise"} <= named


def test_a_peak_between_readings_is_bounded_not_ignored() -> None:
    spike = Scene.of(
        (0.0, 12.0, 0.02), (0.5, 12.0, 0.02), (0.5005, 12.0, 0.9), (0.501, 12.0, 0.02), (1.0, 12.0, 0.02)
    )
    got = MEASURES["peak_current"](view(spike.read(1), MODEL, 0.1, 0.9))
    assert got.value < 0.2
    assert got.low <= 0.9 <= got.high
    assert got.high >= 1.0
    assert says(got.unseen, "1 A")
    assert "samples/s" in got.would_decide


def test_the_largest_reading_bounds_a_peak_from_below() -> None:
    below = 0
    for seed in range(60):
        got = MEASURES["peak_current"](view(power_up().read(seed), MODEL, 0.0, 0.25))
        below += got.low <= 1.0
    assert below >= 56


def test_what_may_hide_above_takes_nothing_off_the_lower_end() -> None:
    """A *fail* rests on the lower end alone: 97.5 % of the sum of the budget's lines lie above it, by drawing
    them (a rectangle is as wide as its standard uncertainty times the root of 12).
    """
    got = MEASURES["peak_current"](view(power_up().read(3), MODEL, 0.0, 0.25))
    assert got.high > got.value + 2.0 * (got.value - got.low)
    draw, errors = np.random.default_rng(7), np.zeros(400_000)
    for each in got.contributions:
        assert each.degrees == np.inf
        if each.distribution == "rectangular":
            errors += each.standard * np.sqrt(12.0) * (draw.random(errors.size) - 0.5)
        else:
            errors += each.standard * draw.standard_normal(errors.size)
    assert np.quantile(errors, 0.025) == pytest.approx(got.low - got.value, rel=0.02)


def surge(duration: float) -> Scene:
    """Half a sine of 0.9 A, as what charges a capacitor through a lead."""
    part = np.linspace(0.0, 1.0, 101)
    corners = [(0.5 + duration * x, 12.0, 0.02 + 0.88 * np.sin(np.pi * x)) for x in part]
    return Scene.of((0.0, 12.0, 0.02), *corners, (1.0, 12.0, 0.02))


def test_a_recorder_sees_the_peak() -> None:
    inside = 0
    for seed in range(40):
        samples = surge(250e-6).read(seed, RECORDER, every=20e-6)
        got = MEASURES["peak_current"](view(samples, RECORDER, 0.1, 0.9))
        assert not got.unseen
        inside += got.low <= 0.9 <= got.high
    assert inside >= 36


def test_a_recorder_too_slow_for_the_peak_says_so() -> None:
    spike = Scene.of(
        (0.0, 12.0, 0.02), (0.5, 12.0, 0.02), (0.5005, 12.0, 0.9), (0.501, 12.0, 0.02), (1.0, 12.0, 0.02)
    )
    got = MEASURES["peak_current"](view(spike.read(4, RECORDER, every=400e-6), RECORDER, 0.1, 0.9))
    assert says(got.unseen, "three samples")


def test_peak_voltage_is_bounded_by_the_protection() -> None:
    got = MEASURES["peak_voltage"](view(steady().read(1), MODEL, 0.5, 2.5))
    assert got.value == pytest.approx(12.0, abs=0.02)
    assert got.high == pytest.approx(18.1)


def test_state_levels_of_a_shape() -> None:
    scene = brown_out()
    for measure, expected in (("high_state_level", 12.0), ("low_state_level", 6.0)):
        exact = MEASURES[measure](view(scene.truth(), EXACT, 0.0, 5.5))
        assert exact.value == pytest.approx(expected, abs=1e-3)
        read = MEASURES[measure](view(scene.read(7), MODEL, 0.05, 5.5))
        assert read.low <= expected <= read.high


def test_a_steady_voltage_has_one_level() -> None:
    scene = steady()
    for measure in ("high_state_level", "low_state_level"):
        got = MEASURES[measure](view(scene.read(3), MODEL, 0.5, 2.5))
        assert got.low <= 12.0 <= got.high
        assert got.high - got.low < 2.2 * (VOLTAGE.offset + 12.0 * VOLTAGE.of_value)


@pytest.mark.parametrize(("measure", "expected"), [("turn_off_voltage", 7.6), ("turn_on_voltage", 8.4)])
def test_turning_voltages(measure: str, expected: float) -> None:
    """Off at once at 7.6 V; on at 8.4 V, whose soft start of 8 ms is half-way 12 mV later, at 3 V/s."""
    scene = brown_out()
    exact = MEASURES[measure](view(scene.truth(), EXACT, 0.0, 5.5, restart=8e-3))
    assert exact.value == pytest.approx(expected, abs=2e-3)
    inside = 0
    for seed in range(40):
        got = MEASURES[measure](view(scene.read(seed), MODEL, 0.05, 5.5, restart=8e-3))
        assert got.value == pytest.approx(expected, abs=0.016)
        inside += got.low <= expected <= got.high
    assert inside >= 36


def test_a_device_that_never_stops() -> None:
    never = Scene.of((0.0, 12.0, 0.3), (2.0, 6.0, 0.5), (3.0, 6.0, 0.5))
    with pytest.raises(Beyond, match="below 6") as caught:
        MEASURES["turn_off_voltage"](view(never.read(1), MODEL, 0.05, 2.9))
    assert caught.value.side == "below"
    with pytest.raises(CannotMeasure, match="whole step"):
        MEASURES["turn_on_voltage"](view(never.read(1), MODEL, 0.05, 2.9))


def test_a_device_that_never_starts() -> None:
    dead = Scene.of((0.0, 0.0, 0.0), (2.0, 12.0, 0.0), (3.0, 12.0, 0.0))
    with pytest.raises(Beyond, match="above 12") as caught:
        MEASURES["turn_on_voltage"](view(dead.read(1), MODEL, 0.05, 2.9))
    assert caught.value.side == "above"


def test_start_up_time() -> None:
    """The voltage enters 2 % of 12 V at 11.76 ms, the current 10 % of 0.35 A at 12.1 ms, about."""
    scene = power_up()
    exact = MEASURES["start_up_time"](view(scene.truth(), EXACT, 0.0, 0.25, switched_on=0.0, goal=12.0))
    assert exact.value == pytest.approx(0.0121, abs=2e-5)
    inside = 0
    for seed in range(60):
        read = view(scene.read(seed), MODEL, 0.0, 0.25, switched_on=0.0, goal=12.0)
        got = MEASURES["start_up_time"](read)
        inside += got.low <= 0.0121 <= got.high
        assert got.high - got.low < 25e-3
    assert inside >= 53


def test_an_input_that_does_not_come_up_has_no_start_up_time() -> None:
    stuck = Scene.of((-0.2, 0.0, 0.0), (0.0, 0.0, 0.0), (0.01, 2.0, 0.5), (0.4, 2.0, 0.5))
    with pytest.raises(Beyond, match="did not start"):
        MEASURES["start_up_time"](view(stuck.read(1), MODEL, 0.0, 0.3, switched_on=0.0, goal=12.0))


def hiccups(times: list[float], off: float = 0.0, soft: float = 8e-3) -> Scene:
    """Steady 0.3 A with drop-outs: away for `off`, back over `soft`."""
    corners = [(0.0, 12.0, 0.3)]
    for at in times:
        corners += [(at, 12.0, 0.3), (at + 1e-5, 12.0, 0.0), (at + off + 2e-5, 12.0, 0.0)]
        corners += [(at + off + soft, 12.0, 0.3)]
    return Scene.of(*corners, (3.0, 12.0, 0.3))


def test_a_rehearsal_of_weeks_tells_its_restarts_by_its_events() -> None:
    """20 days, in which nobody looks at the current every tenth of a millisecond."""
    scene = Scene.of((0.0, 12.0, 0.3), (20 * 86400.0, 12.0, 0.3))
    away = ((86400.0, 86401.0), (2 * 86400.0, 2 * 86400.0 + 1e-3))
    assert MEASURES["restarts"](view(scene.truth(), EXACT, 0.0, 20 * 86400.0, away=away)).value == 2


def test_restarts_are_counted() -> None:
    scene = hiccups([0.5, 1.0, 1.7], off=30e-3)
    recorded = MEASURES["restarts"](view(scene.samples(1e-4), RECORDER, 0.1, 2.9))
    read = MEASURES["restarts"](view(scene.read(1), MODEL, 0.1, 2.9, restart=8e-3))
    assert recorded.value == read.value == 3
    # Nothing that the supply is told makes it stop: it may do so again before a reading shows that it runs.
    assert not recorded.unseen
    assert says(read.unseen, "drop-out")


def test_the_shortest_restart_shows_wherever_it_falls() -> None:
    for position in np.linspace(1.0, 1.01, 23):
        got = MEASURES["restarts"](view(hiccups([position]).read(4), MODEL, 0.1, 2.9, restart=8e-3))
        assert got.value == 1


def test_without_a_known_soft_start_a_drop_out_may_hide() -> None:
    got = MEASURES["restarts"](view(steady().read(1), MODEL, 0.1, 2.9))
    assert got.value == 0
    assert says(got.unseen, "readings")


def test_a_capacitor_that_feeds_the_load_is_no_restart() -> None:
    """12 V to 9 V in 8 ms: 1 mF gives the load 3 mC, and the supply's current is away meanwhile."""
    scene = Scene.of(
        (0.0, 12.0, 0.375), (1.0, 12.0, 0.375), (1.00001, 12.0, 0.0), (1.008, 9.0, 0.0), (1.00801, 9.0, 0.4),
        (3.0, 9.0, 0.4),
    )  # fmt: skip
    for seed in range(10):
        looked_at = view(scene.read(seed), MODEL, 0.1, 2.9, restart=8e-3, capacitance=(0.8e-3, 1.2e-3))
        assert MEASURES["restarts"](looked_at).value == 0
    recorded = view(scene.samples(1e-4), RECORDER, 0.1, 2.9, capacitance=(0.8e-3, 1.2e-3))
    assert MEASURES["restarts"](recorded).value == 0


def deep_dip() -> Scene:
    """24 V to 9.6 V for 100 ms: a load of 10 W stops at 12.5 V, and 2.2 mF is charged again at 1.3 A."""
    return Scene.of(
        (0.0, 24.0, 0.44), (1.0, 24.0, 0.44), (1.00001, 24.0, 0.0), (1.052, 12.5, 0.0), (1.1, 12.3, 0.0),
        (1.101, 12.4, 1.3), (1.128, 24.0, 1.3), (1.129, 24.0, 0.44), (3.0, 24.0, 0.44),
    )  # fmt: skip


def test_a_rehearsal_counts_what_its_loads_did_whatever_the_capacitor_makes_up_for() -> None:
    known = {"capacitance": (1.8e-3, 2.6e-3), "stops_at": (12.2, 12.8)}
    exact = view(deep_dip().truth(), EXACT, 0.1, 2.9, **known, away=((1.052, 1.111),))
    assert MEASURES["restarts"](exact).value == 1
    assert says(MEASURES["restarts"](exact).how, "times that the load stops", 1)
    # It stops in the step, and comes back after it: in both of them it was away, in a third it was not.
    first, then, later = (replace(exact, end=1.08), replace(exact, start=1.08), replace(exact, start=1.2))
    assert [MEASURES["restarts"](each).value for each in (first, then, later)] == [1, 1, 0]
    # A load that does not come back counts; one that is taken down does not.
    dead = replace(exact, away=((1.052, math.inf),))
    assert [MEASURES["restarts"](each).value for each in (dead, replace(dead, start=2.0))] == [1, 1]
    assert MEASURES["restarts"](replace(dead, supplied=(0.0, 1.05))).value == 0


def test_readings_say_where_a_load_may_have_stopped_while_the_capacitor_fed_it() -> None:
    capacitance, scene = (1.8e-3, 2.6e-3), deep_dip()
    for lowest, highest, count, unseen in (
        (12.2, 12.8, 0, True), (14.0, 15.0, 1, False), (6.0, 8.0, 0, False),
    ):  # fmt: skip
        looked_at = view(
            scene.read(3), MODEL, 0.1, 2.9, restart=8e-3, capacitance=capacitance, stops_at=(lowest, highest),
            starts_at=1.25 * highest, course=(LevelChange(1.0, 24.0, 9.6), LevelChange(1.1, 9.6, 24.0)),
        )  # fmt: skip
        got = MEASURES["restarts"](looked_at)
        assert (got.value, bool(got.unseen)) == (count, unseen), (lowest, got)
        assert not unseen or says(got.unseen, "load")


def test_unknown_update_interval_makes_time_measures_impossible() -> None:
    blind = replace(MODEL, update=None)
    for measure in ("charge", "peak_current", "start_up_time", "turn_off_voltage"):
        with pytest.raises(CannotMeasure, match=r"left\.1 .* unknown"):
            MEASURES[measure](view(power_up().read(1), blind, 0.0, 0.25, switched_on=0.0))


def test_unknown_accuracy_is_never_zero() -> None:
    blind = replace(MODEL, current=())
    with pytest.raises(CannotMeasure, match="accuracy"):
        MEASURES["mean_current"](view(steady().read(1), blind, 0.5, 2.5))


def test_what_is_assumed_is_said() -> None:
    vague = replace(MODEL, current=(replace(CURRENT, resolution=None, noise=None),), aperture=None)
    got = MEASURES["mean_current"](view(steady().read(1), vague, 0.5, 2.5))
    said = " / ".join(got.assumptions)
    for word in ("resolution of the current", "noise of the current", "aperture"):
        assert word in said


def test_the_lead_drop_is_taken_off_with_its_uncertainty() -> None:
    scene = steady(12.0, 2.0)
    read = scene.read(1)
    terminals = Traces(
        read.time,
        {"terminal_voltage": read.columns["voltage"] + 2.0 * 0.075, "current": read.columns["current"]},
    )
    got = MEASURES["mean_voltage"](view(terminals, MODEL, 0.5, 2.5))
    assert got.low <= 12.0 <= got.high
    resistance = next(c for c in got.contributions if c.source.startswith("resistance of"))
    assert resistance.standard == pytest.approx(2.0 * 0.005 / np.sqrt(3.0), rel=0.01)
    there = MEASURES["mean_voltage"](view(terminals, MODEL, 0.5, 2.5, at="terminals"))
    assert there.value == pytest.approx(12.15, abs=0.015)
    with pytest.raises(CannotMeasure, match="contact resistance"):
        MEASURES["mean_voltage"](view(terminals, replace(MODEL, lead=None), 0.5, 2.5))


def test_a_diode_in_the_lead_is_taken_off_with_its_uncertainty() -> None:
    scene = steady(12.0, 2.0)
    read = scene.read(1)
    terminals = Traces(
        read.time,
        {"terminal_voltage": read.columns["voltage"] + 2.0 * 0.075 + 0.7, "current": read.columns["current"]},
    )
    model = replace(MODEL, drop=(0.6, 0.8), lead_name="pair with guard")
    got = MEASURES["mean_voltage"](view(terminals, model, 0.5, 2.5))
    assert got.value == pytest.approx(12.0, abs=0.015)
    diode = next(c for c in got.contributions if c.source == "diode in pair with guard")
    assert diode.standard == pytest.approx(0.1 / np.sqrt(3.0), rel=1e-6)


def test_holes_and_missing_values() -> None:
    read = steady().read(1)
    keep = (read.time < 1.0) | (read.time > 1.8)
    holed = Traces(read.time[keep], {name: values[keep] for name, values in read.columns.items()})
    with pytest.raises(CannotMeasure, match="hole"):
        MEASURES["mean_current"](view(holed, MODEL, 0.5, 2.5))
    with pytest.raises(CannotMeasure, match="does not cover"):
        MEASURES["mean_current"](view(read, MODEL, 0.5, 3.5))
    values = read.columns["current"].copy()
    values[60] = np.nan
    torn = Traces(read.time, {"voltage": read.columns["voltage"], "current": values})
    assert MEASURES["mean_power"](view(torn, MODEL, 0.5, 2.5)).value == pytest.approx(3.6, abs=0.06)
