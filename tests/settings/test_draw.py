"""What an input's load model draws from a steady voltage, for each load that says so without a rehearsal."""

from __future__ import annotations

import math

import pytest
from scipy.integrate import quad

from railwright.documents.device import Input
from railwright.physics.loads import KINDS
from railwright.settings.draw import LoadModel


def model(*loads: dict[str, object]) -> LoadModel:
    return LoadModel(
        Input.model_validate(
            {"nominal": "12 V", "operating": "9 V .. 16 V", "return": "common", "load": list(loads)}
        )
    )


LAMP = {"filament_lamp": {"rated_voltage": "12 V", "rated_power": "24 W ± 10 %"}}
MOTOR = {"dc_motor": {"resistance": "2 ohm", "torque_constant": "30 mN*m/A", "inertia": "20 g*cm2"}}
COIL = {"coil": {"resistance": "60 ohm ± 10 %", "inductance": "0.3 H"}}
CELL = {
    "battery": {
        "open_circuit_voltage": "11 V",
        "series_resistance": "2 ohm",
        "capacity": "2 Ah",
        "state_of_charge": "50 %",
    }
}
LEDS = {
    "led_string": {
        "count": "3",
        "forward_voltage": "3 V ± 0.1 V",
        "rated_current": "20 mA",
        "series_resistance": "150 ohm",
    }
}
TABLE = {
    "iv_table": {
        "points": [
            {"voltage": "9.01 V", "current": "0.1 A"},
            {"voltage": "9.02 V", "current": "2 A"},
            {"voltage": "9.03 V", "current": "0.1 A"},
        ],
        "factor": "100 % ± 10 %",
    }
}
BURST = {
    "profile": {
        "points": [{"time": "0 s", "power": "1.2 W"}, {"time": "1 s", "power": "6 W"}],
        "compliance": "4 V",
    }
}
PLAIN = {
    "output_power": "6 W",
    "efficiency": "50 %",
    "starts_at": "8 V",
    "stops_at": "5 V",
    "soft_start": "1 ms",
}


@pytest.mark.parametrize(
    ("load", "low", "high"),
    [
        (LAMP, 1.8, 2.2),
        (MOTOR, 0.0, 0.0),
        (COIL, 12 / 66, 12 / 54),
        (CELL, 0.0, 0.5),
        (LEDS, 0.0181, 0.0219),
        (TABLE, 0.09, 0.11),
        (BURST, 0.1, 0.5),
        ({"converter": PLAIN}, 1.0, 1.0),
        ({"converter": {**PLAIN, "input_current_limit": "0.8 A .. 0.9 A"}}, 12 * 0.64 / 12, 12 * 0.81 / 12),
    ],
)
def test_bounds_at_the_nominal_voltage(load, low, high):
    """A converter within its limit is the resistor U / I_limit at P / I_limit: I = v I_limit² / P."""
    drawn = model(load).current(12.0)
    assert (drawn.low, drawn.high) == pytest.approx((low, high), rel=0.02, abs=1e-9)


@pytest.mark.parametrize(("in_current", "settled", "drawn"), [(True, False, None), (False, True, 0.5)])
def test_a_state_that_leaves_the_current_alone_needs_no_settling(monkeypatch, in_current, settled, drawn):
    """12 V at 24 ohm; a warmth in which its resistance has a part is told by a rehearsal alone."""
    warm = KINDS["resistor"]._replace(states=("warmth",), states_in_current=in_current)
    monkeypatch.setitem(KINDS, "resistor", warm)
    load = model({"resistor": "24 ohm"})
    assert (load.known, load.settled) == (settled, settled)
    found = load.current(12.0)
    assert (found and found.high) == drawn
    assert (load.charging_time(0.0, 1.0, 0.0, 12.0) is None) is not settled


def test_what_draws_the_same_whichever_way_round_is_said_by_each_load(monkeypatch):
    def either(*loads):
        given = {"nominal": "12 V", "operating": "9 V .. 16 V", "return": "common", "load": list(loads)}
        return Input.model_validate(given).draws_either_way

    assert either({"resistor": "24 ohm"}, {"capacitor": "1 mF"}, LAMP)
    assert not either({"resistor": "24 ohm"}, COIL)
    monkeypatch.setitem(KINDS, "coil", KINDS["coil"]._replace(either_way=True))
    assert either({"resistor": "24 ohm"}, COIL)


def test_parts_add_up_and_what_settles_has_no_charging_time():
    both = model(COIL, BURST, {"capacitor": "100 uF"})
    assert both.current(12.0).high == pytest.approx(12 / 54 + 0.5)
    assert both.known
    assert both.charging_time(0.0, 2.0, 0.0, 12.0) is None
    still = model(BURST, {"capacitor": "100 uF"})
    assert still.charging_time(0.0, 2.0, 0.0, 12.0) == pytest.approx(1e-4 * 12 / 1.2, rel=0.3)


GATED = {"starts_at": "36.6 V .. 37.4 V", "stops_at": "31 V .. 32 V"}
CONVERTER = {
    "converter": {"output_power": "20 W ± 5 %", "efficiency": "88 % .. 92 %", "soft_start": "14 ms", **GATED}
}
SESSION = {
    "profile": {
        "points": [{"time": "0 s", "power": "4 W"}, {"time": "1 s", "power": "21 W"}],
        "factor": "100 % ± 5 %",
        "compliance": "20 V",
        **GATED,
    }
}


@pytest.mark.parametrize("amperes", [0.66, 0.76845, 0.7734, 0.7934, 2.0])
@pytest.mark.parametrize(
    ("load", "watts", "ohms"),
    [((CONVERTER,), 21 / 0.88, math.inf), ((SESSION, {"resistor": "1 kohm"}), 22.05, 1000.0)],
)
def test_charging_from_off_beside_what_draws_nothing_before_it_starts(load, watts, ohms, amperes):
    """C ∫ dv / (I - v/R - [v ≥ 36.6 V] P/v), by scipy's quadrature on both sides of the start."""
    farads = 564e-6 + 103.125e-6

    def rate(v: float, running: bool) -> float:
        return farads / (amperes - v / ohms - (watts / v if running else 0.0))

    own = model(*load, {"capacitor": {"capacitance": "470 uF ± 20 %"}})
    time = own.charging_time(103.125e-6, amperes, 0.0, 48.0, from_off=True)
    least = min(amperes - v / ohms - watts / v for v in (36.6, 48.0))
    if least <= 0.0:
        assert time == math.inf
        return
    exact = sum(
        quad(rate, *ends, (running,), epsrel=1e-12)[0]
        for *ends, running in ((0.0, 36.6, False), (36.6, 48.0, True))
    )
    assert time == pytest.approx(exact, rel=1e-6)
    assert time >= exact * (1.0 - 1e-9)


@pytest.mark.parametrize("amperes", [0.7699, 0.7734, 0.7934, 2.0])
def test_charging_after_a_dip_counts_a_converter_that_may_still_run(amperes):
    """Its integral from the lowest stopping voltage on, in closed form; less than P / 31 V never ends."""
    own = model(CONVERTER, {"capacitor": "667.125 uF"})
    watts, farads = 21 / 0.88, 667.125e-6
    for start in (0.0, 20.0):
        idle = farads * (31.0 - start) / amperes
        running = 17.0 + watts / amperes * math.log((amperes * 48 - watts) / (amperes * 31 - watts))
        exact = idle + farads / amperes * running
        time = own.charging_time(0.0, amperes, start, 48.0)
        assert exact * (1.0 - 1e-9) <= time == pytest.approx(exact, rel=1e-6)
    assert own.charging_time(0.0, 0.7695, 0.0, 48.0) == math.inf


def test_of_two_converters_each_waits_for_its_own_start():
    """One that still runs where the other has stopped; what starts late draws nothing before that."""
    late = {"converter": {**PLAIN, "starts_at": "11 V", "stops_at": "10 V"}}
    own = model({"converter": PLAIN}, late, {"capacitor": "100 uF"})
    for start, begins, most in ((0.0, 8.0, 24 / 11), (6.0, 6.0, 24 / 11), (5.2, 5.2, 12 / 5.2)):
        drawn = [(start, begins, 0.0), (begins, 11.0, 12.0), (11.0, 12.0, 24.0)]
        exact = sum(quad(lambda v, w=watts: 1e-4 / (4.0 - w / v), a, b)[0] for a, b, watts in drawn)
        assert own.charging_time(0.0, 4.0, start, 12.0, from_off=True) == pytest.approx(exact, rel=1e-6)
        greatest = own.over(max(start, 1e-3), 12.0, start)[0].high
        assert greatest == pytest.approx(most)


def test_a_peak_between_two_points_of_a_table_is_seen():
    drawn, where = model(TABLE).over(9.0, 16.0)
    assert drawn.high == pytest.approx(2.2)
    assert where == pytest.approx(9.02)


@pytest.mark.parametrize(
    ("loads", "low", "slope", "where"),
    [
        # -di/dv of a constant power is P / v², steepest where it stops; a resistor beside it takes 1/R off.
        (({"converter": PLAIN},), 1.0, 12 / 5**2, 5.0),
        (({"converter": PLAIN}, {"resistor": {"resistance": "10 ohm"}}), 1.0, 12 / 5**2 - 0.1, 5.0),
        (({"converter": PLAIN},), 9.0, 12 / 9**2, 9.0),
        ((BURST,), 1.0, 6 / 4**2, 4.0),
        ((TABLE,), 9.0, 1.1 * 190.0, 9.02),
    ],
)
def test_how_steeply_its_current_falls(loads, low, slope, where):
    assert model(*loads).falls(low, 16.0) == pytest.approx((slope, where), rel=1e-4)


@pytest.mark.parametrize("load", [LAMP, MOTOR, COIL, LEDS])
def test_what_never_falls(load):
    slope, _ = model(load).falls(1.0, 16.0)
    assert slope <= 1e-9
