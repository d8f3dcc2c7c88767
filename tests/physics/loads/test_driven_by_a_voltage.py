"""What a motor, a coil and a lamp draw on a ramp, and while a voltage is driven upwards: against their own
equations, solved by scipy at tight tolerances.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from railwright.physics.loads import coil, dc_motor, filament_lamp
from railwright.physics.loads.law import Ramp

MOTORS = [
    (1.1, 60e-3, 3e-5, 1e-3, 10e-3, 0.0, 10e-3),
    (3.5, 0.12, 4e-5, 4e-3, 20e-3, 1e-4, 25e-3),
    (0.4, 30e-3, 6e-6, 2e-3, 5e-3, 0.0, 5e-3),  # winding and inertia swing
    (2.0, 50e-3, 2e-5, 1e-3, 0.0, 0.0, 0.0),
]
"""Resistance, torque constant, inertia, inductance, friction, viscous friction, load torque; SI units."""


def motor_on(
    p: tuple[float, ...], given: Callable[[float], float], until: float
) -> tuple[np.ndarray, np.ndarray]:
    """Times and currents of a motor at rest that is given a voltage over time."""
    torque = p[4] + p[6]

    def slopes(t: float, y: list[float]) -> list[float]:
        driving = p[1] * y[0] - p[5] * y[1] - torque
        return [
            (given(t) - p[0] * y[0] - p[1] * y[1]) / p[3],
            max(driving, 0.0 if y[1] <= 0.0 else -1e9) / p[2],
        ]

    found = solve_ivp(slopes, (0.0, until), [0.0, 0.0], "LSODA", rtol=1e-9, atol=1e-10, max_step=until / 2e3)
    return found.t, found.y[0]


@pytest.mark.parametrize("p", MOTORS)
@pytest.mark.parametrize("rate", [80.0, 1000.0, 6000.0])
def test_a_motor_on_a_ramp(p: tuple[float, ...], rate: float) -> None:
    ramp = Ramp(rate, 24.0, 0.05)
    through = (p[0] + ramp.ohms, *p[1:])
    times, truth = motor_on(through, ramp.at, 1.5 * ramp.over)
    rising = dc_motor.rising(ramp, p)
    found = np.array([rising.current(ramp.at(t), t) for t in times])
    before = times < 1.1 * ramp.over  # later it may slow down, which asks for nothing
    assert found[before] == pytest.approx(truth[before], abs=2e-3 * truth.max())


@pytest.mark.parametrize("p", MOTORS)
@pytest.mark.parametrize("rate", [300.0, 3000.0])
def test_a_motor_followed_step_by_step(p: tuple[float, ...], rate: float) -> None:
    until = 30.0 / rate
    times, truth = motor_on(p, lambda t: rate * t, until)
    follow, steps = dc_motor.follower(0.0, p), np.linspace(0.0, until, 400)
    found = [follow(rate * t, until / 399) for t in steps[1:]]
    assert found == pytest.approx(np.interp(steps[1:], times, truth), abs=0.03 * truth.max())


@pytest.mark.parametrize("rate", [50.0, 2000.0])
def test_a_coil_on_a_ramp(rate: float) -> None:
    p, ramp = (60.0, 0.4, 0.7, 0.05), Ramp(rate, 24.0, 0.5)
    found = solve_ivp(
        lambda t, y: [(ramp.at(t) - 60.5 * y[0]) / 0.4], (0.0, 2.0 * ramp.over), [0.0], rtol=1e-9, atol=1e-12,
        max_step=ramp.over / 500,
    )  # fmt: skip
    rising = coil.rising(ramp, p)
    assert [rising.current(0.0, t) for t in found.t] == pytest.approx(found.y[0], abs=1e-6)


@pytest.mark.parametrize("start", [0.0, 12.0])
@pytest.mark.parametrize("rate", [100.0, 3000.0])
def test_a_lamp_followed_step_by_step(start: float, rate: float) -> None:
    p, until, dy = (24.0, 60.0, 0.0, 0.8, 0.08), 20.0 / rate, [0.0]

    def slopes(t: float, y: list[float]) -> list[float]:
        filament_lamp.derivatives(start + rate * t, 0.0, p, y, (), dy)
        return list(dy)

    settled = solve_ivp(
        lambda t, y: (filament_lamp.derivatives(start, 0.0, p, y, (), dy), list(dy))[1],
        (0.0, 60.0), [filament_lamp.COLD], "LSODA", rtol=1e-8,
    )  # fmt: skip
    begins = float(settled.y[0, -1]) if start else filament_lamp.COLD
    found = solve_ivp(slopes, (0.0, until), [begins], "LSODA", rtol=1e-8, max_step=until / 500)
    follow, steps = filament_lamp.follower(start, p), np.linspace(0.0, until, 400)
    drawn = [follow(start + rate * t, until / 399) for t in steps[1:]]
    truth = [
        (start + rate * t) / filament_lamp.resistance(p, k)
        for t, k in zip(steps[1:], np.interp(steps[1:], found.t, found.y[0]), strict=True)
    ]
    assert drawn == pytest.approx(truth, rel=0.03)
