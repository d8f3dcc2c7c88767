"""A step that ends where the law changes: it gets there, and past it, however slowly the states move."""

from __future__ import annotations

import numpy as np
import pytest

from railwright.compilation import compiled, with_way_in
from railwright.physics.solver import make_solver, work_space


@compiled
def drift(t, y, dy, system):
    """One state that rises at a rate, and one that follows it in a microsecond."""
    dy[0] = system[0]
    dy[1] = 1e6 * (y[0] - y[1])


@compiled
def drift_jacobian(t, y, out, slope, system):
    out[:] = 0.0
    slope[:] = 0.0
    out[1, 0] = 1e6
    out[1, 1] = -1e6


@compiled
def beyond(t, y, out, system):
    """The region changes at a level, told from a difference that is rounded like the states."""
    out[0] = 1 if system[2] * (system[1] - y[1]) < 0.0 else 0


@pytest.fixture(scope="module")
def compiled_parts():
    return with_way_in(make_solver(drift, drift_jacobian, beyond)), with_way_in(beyond)


@pytest.mark.parametrize("rate", [0.02, 1e-3, 1e-4])
@pytest.mark.parametrize("start", [10.8, 3000.0])
def test_a_boundary_that_is_reached_slowly_is_passed(compiled_parts, rate: float, start: float) -> None:
    """The state passes a level after (level - 4 V) / rate: in a few steps, at that time to its rounding."""
    step, regions = compiled_parts
    draw = np.random.default_rng(1)
    for level in 4.0 + rate * draw.uniform(1e-5, 1e-3, 100):
        system, work = np.array([rate, level, 12.9]), work_space(np.full(2, 1e-9), 1)
        y, t, taken, crossed = np.array([4.0, 4.0 - rate * 1e-6]), start, 0, None
        while t < start + 2e-3:
            _, end, _, _ = step(t, y, start + 2e-3, 2.3e-5, 1e-6, system, work)
            y[:], t, taken = work.new, end, taken + 1
            before = work.before.copy()
            regions(t, y, work.before, system)
            if crossed is None and (work.before != before).any():
                crossed = t
            assert taken < 200
        true = start + (level - 4.0) / rate + 1e-6
        # What rounding hides of the level is 4 ulp, and of the time one: 2e-15 V at the rate.
        assert crossed == pytest.approx(true, abs=4e-15 / rate + 4.0 * np.spacing(start) + 1e-10)
