"""Rodas4: a stiffly accurate, L-stable Rosenbrock method of order 4(3) with dense output of order 3.

It knows nothing of circuits: a right-hand side and its derivatives come in as arguments.

References
----------
.. [1] E. Hairer, G. Wanner, Solving Ordinary Differential Equations II, 2nd ed., IV.7, and the coefficients
of
   their code RODAS (from memory; tests confirm the order of the method and of its dense output).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from railwright.compilation import compiled, inlined

Array = NDArray[np.float64]

GAMMA = 0.25
STAGES = 6

# Stage s is taken at y + Σ A[s, j] k[j] and t + T[s] h; its right-hand side gains Σ C[s, j] k[j] / h + D[s]
# h ∂f/∂t.
A = np.array(
    [
        [0.0, 0.0, 0.0, 0.0, 0.0],
        [1.544000000000000, 0.0, 0.0, 0.0, 0.0],
        [0.9466785280815826, 0.2557011698983284, 0.0, 0.0, 0.0],
        [3.314825187068521, 2.896124015972201, 0.9986419139977817, 0.0, 0.0],
        [1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950, 0.0],
        [1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950, 1.0],
    ]
)
C = np.array(
    [
        [0.0, 0.0, 0.0, 0.0, 0.0],
        [-5.668800000000000, 0.0, 0.0, 0.0, 0.0],
        [-2.430093356833875, -0.2063599157091915, 0.0, 0.0, 0.0],
        [-0.1073529058151375, -9.594562251023355, -20.47028614809616, 0.0, 0.0],
        [7.496443313967647, -10.24680431464352, -33.99990352819905, 11.70890893206160, 0.0],
        [8.083246795921522, -7.981132988064893, -31.52159432874371, 16.31930543123136, -6.058818238834054],
    ]
)
T = np.array([0.0, 0.386, 0.21, 0.63, 1.0, 1.0])
D = np.array([0.25, -0.1043, 0.1035, -0.03620000000000023, 0.0, 0.0])
H21, H22, H23, H24, H25 = (
    10.12623508344586,
    -7.487995877610167,
    -34.80091861555747,
    -7.992771707568823,
    1.025137723295662,
)
H31, H32, H33, H34, H35 = (
    -0.6762803392806898,
    6.087714651680015,
    16.43084320892478,
    24.76722511418386,
    -6.594389125716872,
)


@inlined
def factorise(a: Array, pivots: NDArray[np.int64]) -> None:
    """LU decomposition in place with partial pivoting; a: (n, n). The pivots are kept as reciprocals."""
    n = a.shape[0]
    for k in range(n):
        best = k
        for i in range(k + 1, n):
            if abs(a[i, k]) > abs(a[best, k]):
                best = i
        pivots[k] = best
        if best != k:
            for j in range(n):
                held = a[k, j]
                a[k, j] = a[best, j]
                a[best, j] = held
        inverse = 1.0 / a[k, k]
        a[k, k] = inverse
        for i in range(k + 1, n):
            if a[i, k] != 0.0:
                factor = a[i, k] * inverse
                a[i, k] = factor
                for j in range(k + 1, n):
                    a[i, j] -= factor * a[k, j]


@inlined
def substitute(a: Array, pivots: NDArray[np.int64], b: Array) -> None:
    """Solve in place with the factors of `factorise`; b: (n,)."""
    n = a.shape[0]
    for k in range(n):
        other = pivots[k]
        if other != k:
            held = b[k]
            b[k] = b[other]
            b[other] = held
    for i in range(1, n):
        total = b[i]
        for j in range(i):
            total -= a[i, j] * b[j]
        b[i] = total
    for i in range(n - 1, -1, -1):
        total = b[i]
        for j in range(i + 1, n):
            total -= a[i, j] * b[j]
        b[i] = total * a[i, i]


def make_step(rhs: Callable[..., None]) -> Callable[..., None]:
    """The step for one system of equations: rhs(t, y, dy, system) writes dy/dt."""

    # Many: it is compiled where it is used; arrays are handed in so that it allocates none.
    def rodas_step(
        t: float,
        y: Array,
        h: float,
        f0: Array,
        slope: Array,
        jacobian: Array,
        system: Any,
        k: Array,
        lu: Array,
        pivots: NDArray[np.int64],
        new: Array,
    ) -> None:
        """One step of size h from (t, y).

        f0, slope, jacobian: f, ∂f/∂t and ∂f/∂y at (t, y). k: (6, n), the stages; k[5] is the error estimate.
        new: (n,), the solution at t + h. lu, pivots: work space.
        """
        n = y.shape[0]
        diagonal = 1.0 / (h * GAMMA)
        for i in range(n):
            for j in range(n):
                lu[i, j] = -jacobian[i, j]
            lu[i, i] += diagonal
        factorise(lu, pivots)
        reciprocal = 1.0 / h
        for s in range(STAGES):
            stage = k[s]
            if s == 0:
                for i in range(n):
                    stage[i] = f0[i]
            else:
                for i in range(n):
                    total = y[i]
                    for j in range(s):
                        total += A[s, j] * k[j, i]
                    new[i] = total
                rhs(t + T[s] * h, new, stage, system)
                for i in range(n):
                    total = 0.0
                    for j in range(s):
                        total += C[s, j] * k[j, i]
                    stage[i] += reciprocal * total
            along = h * D[s]
            if along != 0.0:
                for i in range(n):
                    stage[i] += along * slope[i]
            substitute(lu, pivots, stage)
        for i in range(n):
            new[i] += k[5, i]

    return compiled(rodas_step)


@compiled
def dense_coefficients(k: Array, dense: Array) -> None:
    """Coefficients (2, n) of the dense output of the step that left its stages in k."""
    for i in range(k.shape[1]):
        dense[0, i] = H21 * k[0, i] + H22 * k[1, i] + H23 * k[2, i] + H24 * k[3, i] + H25 * k[4, i]
        dense[1, i] = H31 * k[0, i] + H32 * k[1, i] + H33 * k[2, i] + H34 * k[3, i] + H35 * k[4, i]


@compiled
def interpolate(s: float, y: Array, new: Array, dense: Array, out: Array) -> None:
    """Solution at the part s (0 to 1) of the step from y to new."""
    rest = 1.0 - s
    for i in range(y.shape[0]):
        out[i] = y[i] * rest + s * (new[i] + rest * (dense[0, i] + s * dense[1, i]))
