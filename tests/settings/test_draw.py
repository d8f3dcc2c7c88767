"""What an input's load model draws from a steady voltage, for each load that says so without a rehearsal."""

from __future__ import annotations

from dataclasses import replace

import pytest

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
    warm = replace(KINDS["resistor"], states=("warmth",), states_in_current=in_current)
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
    monkeypatch.setitem(KINDS, "coil", replace(KINDS["coil"], either_way=True))
    assert either({"resistor": "24 ohm"}, COIL)


def test_parts_add_up_and_what_settles_has_no_charging_time():
    both = model(COIL, BURST, {"capacitor": "100 uF"})
    assert both.current(12.0).high == pytest.approx(12 / 54 + 0.5)
    assert both.known
    assert both.charging_time(0.0, 2.0, 0.0, 12.0) is None
    still = model(BURST, {"capacitor": "100 uF"})
    assert still.charging_time(0.0, 2.0, 0.0, 12.0) == pytest.approx(1e-4 * 12 / 1.2, rel=0.3)


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
