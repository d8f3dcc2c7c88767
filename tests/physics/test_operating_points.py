"""Where source and load meet: closed forms, kinds of sources, stability, points that only touch."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from tests.physics.bench import STAGE, capacitor, constant_current, resistor, single
from tests.physics.loads.driven import load_of
from tests.physics.meeting_points import operating_points, points_of

from railwright.physics.characteristics import InputSource, StaticLoad, source_of, static_loads
from railwright.physics.circuit import Branch, LeadCircuit, Load
from railwright.physics.loads import KINDS, LoadKind, LoadParameters
from railwright.physics.operating_points import Static
from railwright.quantities import UncertainOhms, UncertainRatio
from railwright.traces import Mode

ASKED = 10.0 / 0.86


def converter(power=10.0, starts=8.0, stops=7.0, soft_start=8e-3):
    values = {
        "output_power": power,
        "efficiency": 0.86,
        "starts_at": starts,
        "stops_at": stops,
        "soft_start": soft_start,
        "input_current_limit": math.inf,
        "drop_out": 0.0,
    }
    return Load("converter", {name: values[name] for name in KINDS["converter"].parameters})


def static(source, *loads):
    return Static(source, [StaticLoad(load, f"{n}") for n, load in enumerate(loads)])


def test_a_resistor_meets_cv_or_cc_at_one_stable_point():
    """6 V into 12 Ω is 0.5 A: in CV under a limit of 1 A, in CC at 4.8 V under 0.4 A (common practice)."""
    (point,) = points_of(static(InputSource(6.0, 1.0), resistor(12.0)))
    assert (point.voltage, point.current) == pytest.approx((6.0, 0.5))
    assert point.mode == Mode.CV
    (point,) = points_of(static(InputSource(6.0, 0.4), resistor(12.0)))
    assert (point.voltage, point.current) == pytest.approx((4.8, 0.4))
    assert point.mode == Mode.CC
    assert point.stable


def test_constant_power_against_a_current_limit_has_an_unstable_and_a_stable_point():
    """v = P / I in the limit; behind a lead v = V/2 + √(V²/4 - R P) (both closed forms)."""
    points = points_of(static(InputSource(12.0, 1.2, resistance=0.3), converter()))
    running = [point for point in points if point.running]
    low, high = running
    assert low.voltage == pytest.approx(ASKED / 1.2)
    assert (low.mode, low.stable) == (Mode.CC, False)
    assert high.voltage == pytest.approx(6.0 + math.sqrt(36.0 - 0.3 * ASKED))
    assert (high.mode, high.stable) == (Mode.CV, True)
    assert high.terminals == pytest.approx(12.0)
    assert len(points) == 2  # while it does not run, nothing is drawn, and it would start on the way up


def test_the_point_behind_a_lead_is_stable_where_1_over_r_outweighs_the_load():
    """1/R + di/dv > 0: of the two crossings of v = V - R P / v the upper one is stable."""
    source = InputSource(12.0, 20.0, resistance=2.8)
    low, high = (p for p in points_of(static(source, converter(stops=1.0))) if p.running)
    assert (low.stable, high.stable) == (False, True)
    assert 1.0 / 2.8 - ASKED / low.voltage**2 < 0.0 < 1.0 / 2.8 - ASKED / high.voltage**2
    assert low.voltage + high.voltage == pytest.approx(12.0)
    assert low.voltage * high.voltage == pytest.approx(2.8 * ASKED)


def test_characteristics_that_only_touch_meet_at_one_point_that_is_not_stable():
    """At R = V² / (4 P) both crossings fall together, at V / 2."""
    source = InputSource(12.0, 20.0, resistance=36.0 / ASKED)
    touching = [p for p in points_of(static(source, converter(stops=1.0))) if p.running]
    assert {point.stable for point in touching} <= {False, True}
    assert all(point.voltage == pytest.approx(6.0, abs=1e-3) for point in touching)
    assert touching
    assert not touching[0].stable
    worse = InputSource(12.0, 20.0, resistance=36.001 / ASKED)
    assert [p for p in points_of(static(worse, converter(stops=1.0))) if p.running] == []


def test_two_crossings_between_two_looks_are_both_found():
    source = InputSource(12.0, 20.0, resistance=36.0 / ASKED * (1 - 1e-8))
    low, high = (p for p in points_of(static(source, converter(stops=1.0))) if p.running)
    assert high.voltage - low.voltage == pytest.approx(2 * math.sqrt(36.0 * 1e-8), rel=1e-2)
    assert (low.stable, high.stable) == (False, True)


def test_sensed_at_the_load_the_lead_costs_power_and_not_voltage():
    (point,) = points_of(static(InputSource(12.0, 3.0, resistance=0.5, at_load=True), resistor(6.0)))
    assert (point.voltage, point.terminals) == pytest.approx((12.0, 13.0))
    limited = InputSource(12.0, 3.0, power=20.0, resistance=0.5, at_load=True)
    (point,) = points_of(static(limited, resistor(6.0)))
    assert point.mode == Mode.CP
    assert point.current == pytest.approx(math.sqrt(20.0 / 6.5))
    assert point.terminals * point.current == pytest.approx(20.0)


def test_the_bleeder_is_part_of_the_power():
    (point,) = points_of(static(InputSource(30.0, 3.0, power=20.0, bleeder=100.0), resistor(10.0)))
    assert point.voltage**2 * (1 / 10.0 + 1 / 100.0) == pytest.approx(20.0)


def test_a_diode_in_the_lead_costs_its_drop():
    (point,) = points_of(static(InputSource(12.0, 3.0, resistance=0.5, drop=0.7), resistor(6.0)))
    assert point.current == pytest.approx(11.3 / 6.5)


def test_outputs_in_series_and_in_parallel_count_as_one():
    names, lead = ("a", "b"), LeadCircuit(0.1, 1e-6)
    series = source_of(Branch("in", names, (STAGE, STAGE), lead, arrangement="series"), 24.0, 1.0)
    parallel = source_of(Branch("in", names, (STAGE, STAGE), lead, arrangement="parallel"), 12.0, 4.0)
    assert (series.power, series.largest, series.bleeder) == (120.0, 2.5, 2 * STAGE.bleeder)
    assert (parallel.power, parallel.largest, parallel.bleeder) == (120.0, 5.0, STAGE.bleeder / 2)
    assert (series.capacitance, parallel.capacitance) == (STAGE.capacitance / 2, 2 * STAGE.capacitance)
    assert series.rise == pytest.approx(2 * STAGE.rise)


@pytest.mark.parametrize(("factor", "range_factor"), [(0.1, 1.0), (5.0, 1.0), (1.0, 0.25), (0.5, 3.0)])
def test_a_limit_charges_the_worst_of_unlike_outputs_in_series(factor, range_factor):
    """By its charge: C·v of the one that takes the most for its own part of 24 V, per volt of the whole."""
    full, farads = STAGE.voltage_max, STAGE.capacitance
    other = STAGE._replace(capacitance=factor * farads, voltage_max=range_factor * full)
    branch = Branch("in", ("a", "b"), (STAGE, other), LeadCircuit(0.1, 1e-6), arrangement="series")
    parts = np.array([full, range_factor * full]) / (full * (1.0 + range_factor)) * 24.0
    charges = parts * np.array([farads, factor * farads])
    assert source_of(branch, 24.0, 1.0).capacitance == pytest.approx(charges.max() / 24.0)


def test_a_load_that_fades_meets_the_limit_below_its_compliance():
    (point,) = operating_points(single(constant_current(1.0, compliance=9.0)), 12.0, 0.5)
    assert point.voltage == pytest.approx(4.5)
    assert point.stable


class Lamp(LoadParameters):
    """i = v / R(T), C dT/dt = v i - k T."""

    resistance: UncertainOhms
    coefficient: UncertainRatio
    cooling: UncertainRatio


def lamp_resistance(p, y):
    return p[0] * (1.0 + p[1] * y[0])


LAMP = SimpleNamespace(
    current=lambda v, t, p, y, q: v / lamp_resistance(p, y),
    derivatives=lambda v, t, p, y, q, dy: dy.__setitem__(0, v * v / lamp_resistance(p, y) - p[2] * y[0]),
)


def test_states_of_a_load_are_solved_to_rest(monkeypatch):
    """v²/R(T) = k T is a quadratic equation for T."""
    monkeypatch.setitem(KINDS, "lamp", LoadKind("lamp", Lamp, LAMP, states=("warmth",)))
    lamp = StaticLoad(Load("lamp", {"resistance": 2.0, "coefficient": 0.01, "cooling": 0.05}), "lamp")
    warmth = (-1.0 + math.sqrt(1.0 + 4.0 * 0.01 * 144.0 / 2.0 / 0.05)) / 0.02
    assert lamp.current(12.0) == pytest.approx(12.0 / (2.0 * (1 + 0.01 * warmth)), rel=1e-6)


LAMP_24 = ("filament_lamp", {"rated_voltage": "24 V", "rated_power": "21 W"})
MOTOR = (
    "dc_motor",
    {"resistance": "2 ohm", "torque_constant": "20 mN*m/A", "inertia": "20 g*cm2", "load_torque": "10 mN*m"},
)
COIL = ("coil", {"resistance": "48 ohm", "inductance": "0.2 H"})


@pytest.mark.parametrize(("kind", "given"), [LAMP_24, MOTOR, COIL])
@pytest.mark.parametrize("volts", [0.5, 6.0, 24.0])
def test_the_rest_that_is_solved_for_is_what_a_load_says_it_draws(kind, given, volts):
    """The motor breaks away on the way there, or not: at 0.5 V its stall current is too little."""
    load = StaticLoad(load_of(kind, **given), kind)
    said = load.current(volts)
    load._draws = None
    assert load.current(volts) == pytest.approx(said, rel=1e-6)


@pytest.mark.parametrize("esr", [1e-4, 1e-3, 0.02, 1.0])
@pytest.mark.parametrize("farads", [1e-6, 100e-6, 10e-3])
def test_a_charged_capacitor_draws_nothing(esr, farads):
    (bank,) = static_loads(single(Load("capacitor", {"capacitance": farads, "esr": esr})))
    assert [bank.current(v) for v in np.linspace(0.0, 60.0, 200)] == [0.0] * 200


def test_what_loads_draw_at_rest():
    for load in (resistor(6.0), capacitor(1e-3), constant_current(0.5), converter()):
        (one,) = static_loads(single(load))
        wanted = {"resistor": 2.0, "capacitor": 0.0, "constant_current": 0.5, "converter": ASKED / 12.0}
        assert one.current(12.0) == pytest.approx(wanted[load.kind], abs=1e-9)


@pytest.mark.parametrize(("voltage", "limit"), [(0.0, 1.0), (12.0, 0.0)])
def test_a_source_that_gives_nothing_is_refused(voltage, limit):
    with pytest.raises(ValueError, match="above zero"):
        operating_points(single(resistor(6.0)), voltage, limit)
