"""Which point a start reaches: against the dynamic rehearsal over a grid of limits, and by closed forms."""

import math

import pytest
from tests.physics.bench import capacitor, constant_current, resistor, single
from tests.physics.test_operating_points import ASKED, converter

from railwright.physics.circuit import Circuit
from railwright.physics.operating_points import operating_points
from railwright.physics.simulation import Simulation
from railwright.physics.start_up import start_up
from railwright.traces import Mode

LIMITS = [0.2, 0.5, 0.8, 1.0, 1.1, 1.3, 1.6, 2.0, 2.5, 3.0]
BULK = (capacitor(1e-3), converter())


def played(branch, limit, rise=math.inf, voltage=12.0):
    """How the start ends in the rehearsal: 1.2 s, of which the second half counts."""
    simulation = Simulation(Circuit((branch,)))
    simulation.set("left.1", current_limit=limit, on=True, rise=rise, voltage=voltage)
    advance = simulation.advance(1.2)
    samples = advance.samples["main"]
    if sum(event.what == "starts" and event.time > 0.6 for event in advance.events) > 1:
        return "restarts for ever"
    arrived = samples.mode[-1] == Mode.CV or samples.voltage[-1] > 0.98 * voltage
    return "reaches its point" if arrived else "hangs low"


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
    told = {limit: start_up(branch, 12.0, limit, rise).outcome for limit in LIMITS}
    assert told == {limit: played(branch, limit, rise) for limit in LIMITS}
    assert len(set(told.values())) > 1


def test_the_limit_that_frees_it_does_and_a_little_less_does_not():
    branch = single(*BULK)
    start = start_up(branch, 12.0, 0.5)
    assert start.outcome == "restarts for ever"
    assert start.between == pytest.approx((7.0, 8.0))
    assert played(branch, 1.02 * start.frees) == "reaches its point"
    assert played(branch, 0.98 * start.frees) == "restarts for ever"
    assert "1.453 A at 8 V, and 0.5 A is there" in start.reason


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
    assert "stays at 4.8 V, where it draws the 0.4 A of the current limit" in start.reason
    assert start_up(single(resistor(12.0)), 12.0, 0.4, low=4.5).outcome == "reaches its point"


def test_what_cannot_start_says_what_that_would_take():
    start = start_up(single(*BULK, resistor(20.0)), 12.0, 0.3)
    assert start.outcome == "hangs low"
    assert start.point.running == ()
    assert "to start at 8 V it needs 0.4 A" in start.reason


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
