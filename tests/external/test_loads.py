"""Loads against what is published about them, or common in the trade."""

from __future__ import annotations

import numpy as np
import pytest
from tests.physics.loads.driven import at_voltage, bench, load_of, p_of
from tests.physics.loads.driven import run as play

from railwright.physics.loads import dc_motor, filament_lamp, led_string

# Resistivity of tungsten by that at 300 K: CRC Handbook of Chemistry and Physics, after H. A. Jones and
# I. Langmuir, 1927 (from memory).
TUNGSTEN = {
    400: 1.43,
    600: 2.34,
    800: 3.36,
    1000: 4.41,
    1200: 5.48,
    1500: 7.14,
    1800: 8.86,
    2000: 10.03,
    2200: 11.24,
    2500: 13.08,
    2800: 14.99,
    3000: 16.29,
}


@pytest.mark.parametrize("kelvin", TUNGSTEN)
def test_tungsten_as_the_handbook_has_it(kelvin):
    p = p_of(load_of("filament_lamp", rated_voltage="12 V", rated_power="24 W"))
    ratio = filament_lamp.resistance(p, kelvin) / filament_lamp.resistance(p, 300.0)
    assert ratio == pytest.approx(TUNGSTEN[kelvin], rel=0.025)


@pytest.mark.parametrize("kelvin", [500.0, 1000.0, 1500.0, 2000.0, 2500.0, 3000.0])
def test_tungsten_as_the_recommended_values_have_it(kelvin):
    """P. D. Desai and others, J. Phys. Chem. Ref. Data 13 (1984) 1069, polynomials in µΩ cm (from memory).

    They begin lower at 300 K than the older handbook, so that ratios lie 4 % higher: the two sources are as
    far apart as the law here is from either.
    """

    def resistivity(t):
        if t < 750.0:
            return -1.06871 + 2.06884e-2 * t + 1.27971e-6 * t**2 + 8.53101e-9 * t**3 - 5.14195e-12 * t**4
        return -1.72573 + 2.14350e-2 * t + 5.74811e-6 * t**2 - 1.13698e-9 * t**3 + 1.1167e-13 * t**4

    p = p_of(load_of("filament_lamp", rated_voltage="12 V", rated_power="24 W"))
    ratio = filament_lamp.resistance(p, kelvin) / filament_lamp.resistance(p, 300.0)
    assert ratio == pytest.approx(resistivity(kelvin) / resistivity(300.0), rel=0.06)


def test_inrush_of_a_filament_lamp():
    """Ten to fifteen times the rated current, for a lamp of which nothing else is known (common practice, no
    source); filaments of common lamps are 2300 K to 2900 K hot (from memory).
    """
    load = load_of("filament_lamp", rated_voltage="12 V", rated_current="1.75 A")
    p = p_of(load)
    assert 10.0 < 12.0 / filament_lamp.cold_resistance(p) / 1.75 < 15.0
    assert 2300.0 < filament_lamp.hot_temperature(p) < 2900.0


def test_current_of_a_lamp_goes_with_a_root_of_the_voltage():
    """Lamp makers' exponent of the current over the voltage is about 0.55 (from memory)."""
    p = p_of(load_of("filament_lamp", rated_voltage="12 V", rated_current="1.75 A"))
    ratio = filament_lamp.draws(13.2, p)[0] / filament_lamp.draws(10.8, p)[0]
    assert np.log(ratio) / np.log(13.2 / 10.8) == pytest.approx(0.55, abs=0.03)


MOTOR = {
    "resistance": "2 ohm",
    "inductance": "1 mH",
    "torque_constant": "25 mN*m/A",
    "inertia": "20 g*cm2",
    "friction": "2 mN*m",
}


def test_stall_current_and_no_load_speed_of_a_motor():
    """U / R at standstill, (U - R I_0) / k without load, I_0 = friction / k (textbooks on small motors)."""
    p = p_of(load_of("dc_motor", **MOTOR))
    run = at_voltage(load_of("dc_motor", **MOTOR), 12.0, 0.5)
    v = run.volts[-1]
    assert run.amperes[-1] == pytest.approx(2e-3 / 25e-3, rel=1e-3)
    assert run.states[-1, 1] == pytest.approx((v - 2.0 * 0.08) / 25e-3, rel=1e-5)
    assert dc_motor.draws(12.0, p)[0] == pytest.approx(0.08)
    blocked = at_voltage(load_of("dc_motor", **{**MOTOR, "load_torque": "1 N*m"}), 12.0, 0.5)
    assert blocked.amperes[-1] == pytest.approx(blocked.volts[-1] / 2.0, rel=1e-6)


def test_a_motor_gives_most_at_half_its_no_load_speed():
    """P = k i ω is greatest at half the stall torque: U² / 4R (textbooks on small motors)."""
    ideal = {**MOTOR, "friction": "0 N*m"}
    found = {}
    for share in (0.4, 0.5, 0.6):
        torque = share * 25e-3 * 6.0
        run = at_voltage(
            load_of("dc_motor", **ideal, load_torque=f"{torque} N*m"), 12.0 + 0.05 * 6 * share, 1.0
        )
        found[share] = torque * run.states[-1, 1]
    assert found[0.5] == pytest.approx(12.0**2 / 8.0, rel=2e-3)
    assert found[0.4] == pytest.approx(found[0.6], rel=2e-3)
    assert found[0.4] == pytest.approx(0.96 * found[0.5], rel=2e-3)


def test_mechanical_time_constant_of_a_motor():
    """τ = R J / k² (textbooks on small motors): 63 % of the speed after it."""
    given = {**MOTOR, "resistance": "20 ohm", "friction": "0 N*m", "inductance": "10 uH"}
    run = at_voltage(load_of("dc_motor", **given), 12.0, 1.0)
    tau = 20.05 * 2e-6 / 25e-3**2
    rise = 2.5e-3 * 12.0 / 40.0  # half the time that the output takes
    after = run.at(tau + rise, run.states[:, 1]) / run.states[-1, 1]
    assert after == pytest.approx(1.0 - np.exp(-1.0), abs=3e-3)


def test_a_battery_goes_from_constant_current_to_constant_voltage():
    """Constant current until the open-circuit voltage and the drop reach the set voltage, then an exponential
    with R dQ/dV_oc, which for a straight curve is its closed form.
    """
    capacity, ohms, limit, volts = 60.0, 0.45, 1.0, 12.6
    curve = ({"charge": "0 %", "voltage": "11.4 V"}, {"charge": "100 %", "voltage": "12.6 V"})
    cell = load_of(
        "battery",
        series_resistance=f"{ohms} ohm",
        capacity=f"{capacity} C",
        state_of_charge="10 %",
        curve=curve,
    )
    sim = bench(cell)
    sim.set("out", voltage=volts, current_limit=limit, on=True)
    run = play(sim, 120.0)
    loop = ohms + 0.05
    # I (R + R_lead) below the set voltage: V_oc = 12.1 V, at (12.1 - 11.4) / 1.2 of the charge
    reached = (12.1 - 11.4) / 1.2 * capacity
    expected = (reached - 0.1 * capacity) / limit
    (leaves,) = (event.time for event in run.events if event.what == "enters CV" and event.time > 1.0)
    assert leaves == pytest.approx(expected, rel=2e-3)
    assert run.at(15.0, run.amperes) == pytest.approx(limit, rel=1e-3)
    tau = loop * capacity / 1.2
    late = run.time > leaves + 1.0
    assert run.amperes[late] == pytest.approx(limit * np.exp(-(run.time[late] - leaves) / tau), rel=5e-3)


def test_sixty_millivolts_a_decade():
    """An ideal junction changes by kT/e ln 10 = 59.5 mV a decade at 300 K (textbooks on semiconductors)."""
    given = {
        "count": "1",
        "forward_voltage": "2 V",
        "rated_current": "20 mA",
        "series_resistance": "0 ohm",
        "dynamic_resistance": "1.3 ohm",
        "ideality": "1",
    }
    p = p_of(load_of("led_string", **given))
    low, high = (led_string.current(v, 0.0, p, [], []) for v in (1.5, 1.5 + 0.0595))
    assert high / low == pytest.approx(10.0, rel=2e-3)


def test_a_coil_without_its_diode_would_be_a_danger():
    """A freewheel diode holds the voltage at its drop below 0 V (common practice, no source)."""
    sim = bench(load_of("coil", resistance="100 ohm", inductance="0.5 H"))
    sim.set("out", voltage=24.0, current_limit=5.0, on=True)
    sim.change_lead("main", at=0.1, opened=True)
    run = play(sim, 0.2)
    assert -0.75 < run.volts.min() < -0.7
