"""Which point a start reaches: against the dynamic rehearsal over a grid of limits, and by closed forms."""

import math

import pytest
from tests.physics.bench import capacitor, constant_current, resistor, single
from tests.physics.loads.driven import load_of
from tests.physics.meeting_points import operating_points
from tests.physics.test_operating_points import ASKED, converter
from tests.said import says

from railwright.physics.circuit import Circuit
from railwright.physics.simulation import Simulation
from railwright.physics.start_up import start_up
from railwright.traces import Mode

LIMITS = [0.2, 0.5, 0.8, 1.0, 1.1, 1.3, 1.6, 2.0, 2.5, 3.0]
BULK = (capacitor(1e-3), converter())


def played(branch, limit, rise=math.inf, voltage=12.0, length=1.2):
    """How the start ends in the rehearsal, of which the second half counts."""
    simulation = Simulation(Circuit((branch,)))
    simulation.set("left.1", current_limit=limit, on=True, rise=rise, voltage=voltage)
    advance = simulation.advance(length)
    samples = advance.samples["main"]
    if sum(event.what == "starts" and event.time > 0.5 * length for event in advance.events) > 1:
        return "restarts for ever"
    arrived = samples.mode[-1] == Mode.CV or samples.voltage[-1] > 0.98 * voltage
    return "reaches its point" if arrived else "hangs low"


LIMITED = {
    "output_power": "10 W",
    "efficiency": "86 %",
    "starts_at": "8 V",
    "stops_at": "3 V",
    "soft_start": "8 ms",
    "input_current_limit": "1.5 A",
}
LAMP = {"rated_voltage": "12 V", "rated_power": "10 W", "warm_up": "50 ms"}
MOTOR = {
    "resistance": "3 ohm",
    "torque_constant": "20 mN*m/A",
    "inertia": "5 g*cm2",
    "load_torque": "15 mN*m",
    "viscous_friction": "1 uN*m*s",
}
LEDS = {"count": "3", "forward_voltage": "3 V", "rated_current": "0.7 A", "series_resistance": "3 ohm"}
BATTERY = {
    "open_circuit_voltage": "11.5 V",
    "series_resistance": "0.5 ohm",
    "capacity": "2 A*h",
    "state_of_charge": "50 %",
}


@pytest.mark.parametrize(
    ("kind", "given", "beside"),
    [
        ("converter", LIMITED, (capacitor(1e-3),)),
        ("filament_lamp", LAMP, (capacitor(1e-4),)),
        ("filament_lamp", LAMP, BULK),
        ("dc_motor", MOTOR, (capacitor(1e-4),)),
        ("led_string", LEDS, BULK),
        ("battery", BATTERY, (capacitor(1e-4),)),
    ],
    ids=["input limit", "lamp", "lamp and converter", "motor", "LEDs and converter", "battery"],
)
def test_loads_with_states_of_their_own_end_as_in_the_rehearsal(kind, given, beside):
    branch = single(load_of(kind, **given), *beside)
    told = {limit: start_up(branch, 12.0, limit, seek=False).outcome for limit in LIMITS}
    assert told == {limit: played(branch, limit, length=2.5) for limit in LIMITS}
    assert len(set(told.values())) > 1


def test_a_converter_with_an_input_limit_hangs_at_a_stable_point():
    """Below P / I_limit it is a resistor of P / I_limit²: v = I · P / I_limit² (closed form)."""
    branch = single(load_of("converter", **LIMITED), capacitor(1e-3))
    start = start_up(branch, 12.0, 0.8)
    assert start.outcome == "hangs low"
    assert start.point.voltage == pytest.approx(0.8 * ASKED / 1.5**2, rel=1e-3)
    assert start.point.stable
    assert start.point.running == ("converter",)
    assert says(start.reason, "12 V", "1.5 A")
    assert [point.stable for point in operating_points(branch, 12.0, 1.2) if point.running] == [
        True,
        False,
        True,
    ]


@pytest.mark.parametrize(
    ("loads", "rise"),
    [
        (BULK, math.inf),
        ((capacitor(1e-3), converter(soft_start=1e-3)), math.inf),
        ((capacitor(100e-6), converter()), math.inf),
        (BULK, 100.0),
        ((*BULK, resistor(20.0)), math.inf),
        ((capacitor(1e-3), converter(6.0), converter(4.0, 9.5, 8.0, 2e-3)), math.inf),
        ((capacitor(1e-3), constant_current(0.45, compliance=5.0), converter(3.0)), math.inf),
    ],
    ids=["bulk", "short soft start", "small capacitor", "slow rise", "resistor", "two", "constant current"],
)
def test_the_outcome_is_that_of_the_rehearsal(loads, rise):
    branch = single(*loads)
    told = {limit: start_up(branch, 12.0, limit, rise, seek=False).outcome for limit in LIMITS}
    assert told == {limit: played(branch, limit, rise) for limit in LIMITS}
    assert len(set(told.values())) > 1


def test_the_limit_that_frees_it_does_and_a_little_less_does_not():
    branch = single(*BULK)
    start = start_up(branch, 12.0, 0.5)
    assert start.outcome == "restarts for ever"
    assert start.between == pytest.approx((7.0, 8.0))
    assert played(branch, 1.02 * start.frees) == "reaches its point"
    assert played(branch, 0.98 * start.frees) == "restarts for ever"
    assert says(start.reason, "1.453 A", "8 V", "0.5 A")


def test_what_frees_it_surely_is_the_power_at_the_starting_voltage():
    """P / (η V_start): asked for at once, at the voltage at which it starts (closed form)."""
    start = start_up(single(*BULK), 12.0, 0.5)
    assert start.surely == pytest.approx(ASKED / 8.0, rel=3e-3)
    assert start.frees < start.surely


def test_a_start_that_reaches_its_point_needs_no_other_limit():
    branch = single(*BULK)
    start = start_up(branch, 12.0, 2.0)
    assert (start.outcome, start.frees, start.surely) == ("reaches its point", None, None)
    stable = [point for point in operating_points(branch, 12.0, 2.0) if point.stable]
    assert start.point.voltage == pytest.approx(stable[-1].voltage)


def test_what_hangs_low_is_freed_by_what_the_load_asks_for():
    start = start_up(single(resistor(12.0), resistance=0.0), 12.0, 0.4)
    assert start.outcome == "hangs low"
    assert start.point.voltage == pytest.approx(4.8)
    assert start.frees == pytest.approx(0.98, rel=3e-3)  # 2 % below the set voltage counts as reached
    assert says(start.reason, "4.8 V", "0.4 A")
    assert start_up(single(resistor(12.0)), 12.0, 0.4, low=4.5).outcome == "reaches its point"


def test_what_cannot_start_says_what_that_would_take():
    start = start_up(single(*BULK, resistor(20.0)), 12.0, 0.3)
    assert start.outcome == "hangs low"
    assert start.point.running == ()
    assert says(start.reason, "8 V", "0.4 A")


def test_no_limit_frees_what_the_lead_loses():
    """1.45 A through 2 Ω are 2.9 V: more than lies between start and stop."""
    branch = single(*BULK, resistance=2.5)
    start = start_up(branch, 9.0, 2.0)
    assert (start.outcome, start.frees) == ("restarts for ever", None)
    assert "the lead loses" in start.reason
    assert played(branch, 2.0, voltage=9.0) == "restarts for ever"


def test_a_limit_beyond_what_the_outputs_can_is_none():
    start = start_up(single(capacitor(1e-3), converter(power=40.0)), 12.0, 1.0)
    assert (start.outcome, start.frees) == ("restarts for ever", None)
