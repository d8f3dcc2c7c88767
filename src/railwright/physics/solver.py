"""One accepted step of an adaptive, stiff solver that ends exactly where the system changes its law.

It knows nothing of circuits. A system is a tuple that is handed through to three compiled functions:

    rhs(t, y, dy, system)                    writes dy/dt
    jacobian(t, y, out, slope, system)       writes ∂f/∂y, shape (n, n), and ∂f/∂t
    regions(t, y, out, system)               writes integers that say which smooth piece of the law holds

A step whose end lies in another region than its start is cut where the region changes (by bisection of the
dense output) and taken again up to there, so that no step spans two laws.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from railwright.compilation import compiled
from railwright.physics.rosenbrock import Array, dense_coefficients, interpolate, make_step

REACHED, CHANGED, FAILED = 0, 1, 2
SMALLEST_STEP = 1e-15
BRIEF = 1e-6
"""Part of a step below which rounding may hide that a region changes."""


class SolverError(RuntimeError):
    """The solver could not go on: at `time` [s], because of `state`, which belongs to `element`."""

    def __init__(
        self, time: float, state: str, element: str, why: str = "no step was small enough for"
    ) -> None:
        super().__init__(f"the rehearsal's solver failed at {time:.9g} s in '{element}': {why} {state}")
        self.time, self.state, self.element = time, state, element


class Work(NamedTuple):
    """Work space of the solver for n states and m regions."""

    f0: Array
    slope: Array
    jacobian: Array
    k: Array
    lu: Array
    pivots: NDArray[np.int64]
    new: Array
    middle: Array
    dense: Array
    absolute: Array
    before: NDArray[np.int64]
    after: NDArray[np.int64]


def work_space(absolute: Array, regions: int) -> Work:
    """Work space for as many states as there are absolute tolerances."""
    n = absolute.size
    return Work(
        f0=np.zeros(n),
        slope=np.zeros(n),
        jacobian=np.zeros((n, n)),
        k=np.zeros((6, n)),
        lu=np.zeros((n, n)),
        pivots=np.zeros(n, dtype=np.int64),
        new=np.zeros(n),
        middle=np.zeros(n),
        dense=np.zeros((2, n)),
        absolute=absolute.astype(np.float64),
        before=np.zeros(regions, dtype=np.int64),
        after=np.zeros(regions, dtype=np.int64),
    )


@compiled
def _same(a: NDArray[np.int64], b: NDArray[np.int64]) -> bool:
    differing = 0
    for i in range(a.shape[0]):
        differing += a[i] != b[i]
    return differing == 0


@compiled
def _error(y: Array, work: Any, relative: float) -> tuple[float, int]:
    """Weighted root mean square of the error estimate, and the state that contributes most."""
    total, worst, where = 0.0, -1.0, 0
    for i in range(y.shape[0]):
        scale = work.absolute[i] + relative * max(abs(y[i]), abs(work.new[i]))
        part = work.k[5, i] / scale
        if not part * part <= worst:  # true for NaN as well
            worst, where = part * part, i
        total += part * part
    return np.sqrt(total / y.shape[0]), where


# One piece: it holds the compiled step, which the compiler has to see whole.
def make_solver(
    rhs: Callable[..., None], jacobian: Callable[..., None], regions: Callable[..., None]
) -> Callable[..., tuple[int, float, float, int]]:
    """The solver for one system of equations, whose three functions must be compiled."""
    rodas_step = make_step(rhs)

    # One piece: the compiler has to see it whole.
    def solver_step(
        t: float,
        y: Array,
        t_stop: float,
        h: float,
        relative: float,
        system: Any,
        work: Any,
    ) -> tuple[int, float, float, int]:
        """One accepted step from (t, y) towards t_stop, of about the size h.

        work.before must hold the regions at (t, y), and does so again after a step that REACHED its end.
        Returns (status, time reached, size to try next, state that limited the step). The new state is in
        work.new, the coefficients of the dense output in work.dense; y is left alone. status: REACHED,
        CHANGED (the step was cut where a region changes), or FAILED.
        """
        room, asked = t_stop - t, h
        whole = h >= 0.999 * room
        if whole:
            h = room
        rhs(t, y, work.f0, system)
        jacobian(t, y, work.jacobian, work.slope, system)
        rejected = False
        while True:
            rodas_step(
                t, y, h, work.f0, work.slope, work.jacobian, system, work.k, work.lu, work.pivots, work.new
            )
            error, where = _error(y, work, relative)
            if error <= 1.0:
                factor = min(6.0, max(0.2, 0.9 * (error + 1e-10) ** -0.25))
                if rejected:
                    factor = min(1.0, factor)
                break
            rejected, whole = True, False
            h *= max(0.1, min(0.9, 0.9 * error**-0.25)) if np.isfinite(error) else 0.1
            if h < SMALLEST_STEP * max(1.0, abs(t)):
                return FAILED, t, h, where
        following = max(h * factor, asked) if whole else h * factor
        end = t_stop if whole else t + h
        dense_coefficients(work.k, work.dense)
        # Also in the middle, so that what changes and changes back within a step is not stepped over.
        interpolate(0.5, y, work.new, work.dense, work.middle)
        regions(t + 0.5 * h, work.middle, work.after, system)
        inside, outside = 0.0, 0.5
        if _same(work.before, work.after):
            regions(end, work.new, work.after, system)
            if _same(work.before, work.after):
                return REACHED, end, following, where
            inside, outside = 0.5, 1.0
        for _ in range(40):
            s = 0.5 * (inside + outside)
            interpolate(s, y, work.new, work.dense, work.middle)
            regions(t + s * h, work.middle, work.after, system)
            if _same(work.before, work.after):
                inside = s
            else:
                outside = s
        if outside == 1.0:
            return CHANGED, end, following, where
        least = max(8.0 * np.spacing(abs(t)), 1e-14)
        part, brief = max(outside * h, least), max(least, BRIEF * h)
        while True:
            rodas_step(
                t, y, part, work.f0, work.slope, work.jacobian, system, work.k, work.lu, work.pivots, work.new
            )
            regions(t + part, work.new, work.after, system)
            if part > brief or not _same(work.before, work.after):
                break
            # In so short a step a slow state moves by less than its last digit: it would stand on the old
            # side of the boundary for ever. A step as long as it takes ends that.
            part *= 2.0
        dense_coefficients(work.k, work.dense)
        return CHANGED, t + part, following, where

    return compiled(solver_step)
