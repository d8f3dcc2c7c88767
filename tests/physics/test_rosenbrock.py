"""Order of the method and of its dense output, and its behaviour on a stiff equation."""

import numpy as np
import pytest

from railwright.compilation import compiled, with_way_in
from railwright.physics import rosenbrock
from railwright.physics.rosenbrock import make_step

dense_coefficients, factorise, interpolate, substitute = (
    with_way_in(getattr(rosenbrock, name))
    for name in ("dense_coefficients", "factorise", "interpolate", "substitute")
)


@compiled
def pendulum(t, y, dy, system):
    """A driven pendulum: nonlinear and dependent on time."""
    dy[0] = y[1]
    dy[1] = -np.sin(y[0]) + system[0] * np.cos(2.0 * t)


@compiled
def relaxation(t, y, dy, system):
    """y' = -λ (y - cos t) - sin t, the solution is cos t."""
    dy[0] = -system[0] * (y[0] - np.cos(t)) - np.sin(t)


def run(step, rhs, jacobian, slope, y, system, end, steps):
    rhs, step, n = with_way_in(rhs), with_way_in(step), y.size
    k, lu, pivots, new = np.zeros((6, n)), np.zeros((n, n)), np.zeros(n, dtype=np.int64), np.zeros(n)
    h, f0 = end / steps, np.zeros(n)
    middles = []
    for i in range(steps):
        t = i * h
        rhs(t, y, f0, system)
        step(t, y, h, f0, slope(t, y), jacobian(t, y), system, k, lu, pivots, new)
        dense, half = np.zeros((2, n)), np.zeros(n)
        dense_coefficients(k, dense)
        interpolate(0.5, y, new, dense, half)
        middles.append(half)
        y = new.copy()
    return y, np.array(middles)


@pytest.fixture(scope="module")
def pendulum_runs():
    step, system = make_step(pendulum), np.array([0.7])
    jacobian = lambda t, y: np.array([[0.0, 1.0], [-np.cos(y[0]), 0.0]])  # noqa: E731
    slope = lambda t, y: np.array([0.0, -2.0 * 0.7 * np.sin(2.0 * t)])  # noqa: E731
    start = np.array([1.0, 0.3])
    return {n: run(step, pendulum, jacobian, slope, start, system, 2.0, n) for n in (20, 40, 80, 2560)}


def test_the_method_is_of_order_four(pendulum_runs):
    exact = pendulum_runs[2560][0]
    errors = [np.abs(pendulum_runs[n][0] - exact).max() for n in (20, 40, 80)]
    orders = np.log2(errors[0] / errors[1]), np.log2(errors[1] / errors[2])
    assert min(orders) > 3.7


def test_the_dense_output_is_of_order_three(pendulum_runs):
    fine = pendulum_runs[2560]
    errors = []
    for n in (20, 40):
        # The middle of step i of n lies at step (2 i + 1) · 2560 / (2 n) of the fine run, whose state is
        # found by its own middles.
        ratio = 2560 // n
        exact = np.array(
            [0.5 * (fine[1][ratio * i + ratio // 2 - 1] + fine[1][ratio * i + ratio // 2]) for i in range(n)]
        )
        errors.append(np.abs(pendulum_runs[n][1] - exact).max())
    assert errors[0] / errors[1] > 2**2.7


def test_a_stiff_equation_takes_large_steps():
    step, system = make_step(relaxation), np.array([1e9])
    jacobian = lambda t, y: np.array([[-1e9]])  # noqa: E731
    slope = lambda t, y: np.array([-1e9 * np.sin(t) - np.cos(t)])  # noqa: E731
    end, _ = run(step, relaxation, jacobian, slope, np.array([1.0]), system, 1.0, 20)
    assert end[0] == pytest.approx(np.cos(1.0), abs=1e-4)


def test_linear_systems_are_solved_with_pivoting():
    a = np.array([[0.0, 2.0, 1.0], [1.0, 0.0, -3.0], [4.0, 5.0, 6.0]])
    b = np.array([1.0, 2.0, 3.0])
    lu, x, pivots = a.copy(), b.copy(), np.zeros(3, dtype=np.int64)
    factorise(lu, pivots)
    substitute(lu, pivots, x)
    assert a @ x == pytest.approx(b, abs=1e-12)
