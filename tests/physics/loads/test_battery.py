"""Battery: charging and feeding back by its curve, with and without a blocking diode."""

from __future__ import annotations

import numpy as np
import pytest
from tests.physics.loads.driven import at_voltage, bench, load_of, p_of
from tests.physics.loads.driven import run as play

from railwright.physics.loads import battery

CURVE = (("0 %", "10.5 V"), ("10 %", "11.9 V"), ("50 %", "12.4 V"), ("100 %", "13.0 V"))
POINTS = tuple({"charge": charge, "voltage": voltage} for charge, voltage in CURVE)
CELL = {"series_resistance": "0.2 ohm", "capacity": "20 C", "state_of_charge": "30 %"}
KNEES, VOLTS = np.array([0.0, 0.1, 0.5, 1.0]), np.array([10.5, 11.9, 12.4, 13.0])


@pytest.mark.parametrize("charge", ["0 %", "30 %", "95 %"])
def test_charging_follows_the_curve(charge):
    run = at_voltage(load_of("battery", **{**CELL, "state_of_charge": charge, "curve": POINTS}), 13.0, 4.0)

    def rhs(t, v, y):
        return [(v - float(np.interp(y[0] / 20.0, KNEES, VOLTS))) / 0.2]

    solved = run.solved(rhs, [20.0 * float(charge.rstrip(" %")) / 100])
    assert np.abs(run.states - solved).max() < 2e-4  # of 20 C
    flowed, accounted = run.energies()
    assert flowed == pytest.approx(accounted, rel=1e-4)


def test_at_one_voltage_the_current_is_constant_whatever_its_charge():
    run = at_voltage(load_of("battery", **CELL, open_circuit_voltage="12 V"), 12.5, 1.0)
    assert run.amperes[-1] == pytest.approx(0.5 / 0.25, rel=1e-3)  # with 0.05 Ω of lead
    assert run.states[-1, 0] > 6.0 + 1.9
    flowed, accounted = run.energies()
    assert flowed == pytest.approx(accounted, rel=1e-5)


def test_it_feeds_back_into_an_output_that_sinks():
    sim = bench(load_of("battery", **CELL, open_circuit_voltage="12 V"))
    sim.set("out", voltage=11.0, current_limit=20.0, on=True)
    run = play(sim, 0.5)
    assert run.amperes[-1] == pytest.approx(-1.0 / 0.25, rel=1e-3)
    assert run.states[-1, 0] < 6.0
    flowed, accounted = run.energies()
    assert flowed < 0.0
    assert flowed == pytest.approx(accounted, rel=1e-4)


def test_it_lifts_an_output_that_is_off_and_a_diode_keeps_it_from_that():
    for diode, expected in ((None, 12.0), ("0.6 V", 0.0)):
        more = {} if diode is None else {"diode_drop": diode}
        run = play(bench(load_of("battery", **CELL, open_circuit_voltage="12 V", **more)), 0.5)
        assert run.volts[-1] == pytest.approx(expected, abs=0.02)
        assert run.amperes.min() <= 0.0
        if diode:
            assert np.abs(run.amperes).max() == 0.0
            assert run.states[-1, 0] == pytest.approx(6.0, abs=1e-9)


def test_the_diode_conducts_from_its_drop_on():
    given = {**CELL, "open_circuit_voltage": "12 V", "diode_drop": "0.6 V"}
    run = at_voltage(load_of("battery", **given), 13.1, 0.5)
    assert run.amperes[-1] == pytest.approx(0.5 / 0.25, rel=1e-3)
    assert (run.amperes[run.volts < 12.6] == 0.0).all()
    flowed, accounted = run.energies()
    assert flowed == pytest.approx(accounted, rel=1e-4)


def test_reversed_it_is_a_short_through_its_resistance():
    run = at_voltage(load_of("battery", **CELL, open_circuit_voltage="12 V"), -10.0, 0.05)
    assert run.amperes.min() < -15.0
    flowed, accounted = run.energies()
    assert flowed == pytest.approx(accounted, rel=1e-3)


def test_energy_is_the_area_under_the_curve():
    p = p_of(load_of("battery", **CELL, curve=POINTS))
    expected = 20.0 * np.trapezoid(VOLTS, KNEES)
    assert battery.stored(p, [20.0]) == pytest.approx(expected, rel=1e-12)
    first, second = battery.stored(p, [3.0]), battery.stored(p, [9.0])
    charge = np.linspace(3.0, 9.0, 60001)
    area = np.trapezoid(np.interp(charge / 20.0, KNEES, VOLTS), charge)
    assert second - first == pytest.approx(area, rel=1e-9)
    assert battery.open_circuit(22.0, p) == pytest.approx(13.12)  # the last line goes on
    assert battery.draws(13.0, p) == pytest.approx((0.0, (13.0 - 12.15) / 0.2))
    assert battery.draws(12.0, p) == pytest.approx(((12.0 - 12.15) / 0.2, 0.0))
