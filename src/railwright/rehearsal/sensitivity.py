"""Which tolerance a result is sensitive to: Sobol's indices of every measure.

The cases are those of Saltelli's design: two independent sets A and B, and for each quantity A with that one
taken from B. What a polynomial of second order explains of them has its indices in closed form; only the rest
is estimated by means over the cases, so that half of them or fewer say as much. No case is replaced by the
polynomial: it is a control variate, and what it does not explain counts as it was played.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from railwright.rehearsal.design import spread
from railwright.rehearsal.ensemble import EnsemblePlan, Run, play_values

if TYPE_CHECKING:
    from numpy.typing import NDArray


BASE = 128
"""Points of the base design (chosen: no index of the example's is further off than with 256 points without
the polynomial; `python -m benchmarks.sensitivity --accuracy`).
"""

MOST_TERMS = 800
"""Terms of the polynomial; where there would be more, products of two quantities are left out."""

ROWS_A_TERM = 4
"""Cases for each term of the polynomial, at least."""


@dataclass(frozen=True, slots=True)
class Indices:
    """Sobol's indices of one measure, 0 to 1, shape (quantities,) each, in the order of the design.

    alone: the part of the variance that each quantity has by itself (first order). in_all: with all that it
    has together with others (total). alone_error, in_all_error: their standard errors.
    """

    alone: NDArray[np.float64]
    in_all: NDArray[np.float64]
    alone_error: NDArray[np.float64]
    in_all_error: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Sensitivities:
    """Indices by input and measure. not_in_all: what does not happen in every case, and has none."""

    names: tuple[str, ...]
    found: Mapping[tuple[str, str], Indices]
    not_in_all: tuple[tuple[str, str], ...]


def sensitivities(
    plan: EnsemblePlan,
    base: int = BASE,
    run: Run = map,
    each: Callable[[int, int], None] = lambda played, of: None,
) -> Sensitivities:
    """Sobol's indices: which quantity each measure is sensitive to.

    base: points of the base design, a power of two; base · (own quantities + 2) cases of each branch are
    played. run, each: as `play_values` has them. Measures that do not vary are left out.
    """
    from railwright.physics.cases import MEASURES

    first, second = base_design(len(plan.design.names), base, plan.design.seed)
    count = len(plan.design.names)
    pages = np.repeat(first[np.newaxis], count, axis=0)
    for k in range(count):
        pages[k, :, k] = second[:, k]
    shares = np.concatenate([first, second, pages.reshape(count * base, count)])
    measures, _ = play_values(plan, spread(plan.design.quantities, shares), run, each)
    found: dict[tuple[str, str], Indices] = {}
    not_in_all = []
    for name in plan.set_points:
        for measure in MEASURES:
            if measure == "trip":
                continue
            values = measures[name][measure]
            if not np.isfinite(values).all():
                if np.isfinite(values).any():
                    not_in_all.append((name, measure))
            elif values.min() < values.max():
                found[name, measure] = indices_of(values, first, second)
    return Sensitivities(plan.design.names, found, tuple(not_in_all))


def base_design(quantities: int, base: int, seed: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Two independent sets of shares, (base, quantities) each in 0 to 1: the columns of one scrambled Sobol
    sequence (A. Saltelli et al., Computer Physics Communications 181 (2010), section 5).
    """
    from scipy.stats.qmc import Sobol

    if not quantities:
        return np.zeros((base, 0)), np.zeros((base, 0))
    sequence = Sobol(2 * quantities, rng=np.random.default_rng(seed), bits=64)
    both = np.asarray(sequence.random(base))
    return both[:, :quantities], both[:, quantities:]


def indices_of(
    values: NDArray[np.float64], first: NDArray[np.float64], second: NDArray[np.float64]
) -> Indices:
    """Indices of a measure whose values (base · (quantities + 2),) are those of the rows of `first`, of
    `second`, and of `first` with one column after the other from `second`; both (base, quantities).

    With f = g + r, g the polynomial: E[f_B (f_AB - f_A)] and E[(f_A - f_AB)²] / 2, the numerators of first
    order and total (Saltelli 2010, Table 2, b and f), are those of g in closed form plus the mean of what the
    cases give beyond g's own. Errors by the jackknife over the points of the base design.
    """
    base, count = first.shape
    at_first, at_second = values[:base], values[base : 2 * base]
    pages = values[2 * base :].reshape(count, base)
    # What makes no difference in any case has no part, and no place in the polynomial.
    active = np.flatnonzero((pages != at_first).any(axis=1))
    if not active.size:  # the base points differ, but too rarely for any quantity to show
        return Indices(np.zeros(count), np.zeros(count), np.full(count, np.inf), np.full(count, np.inf))
    pages = pages[active]
    used = np.concatenate([np.arange(2 * base), *(np.arange(base) + (2 + k) * base for k in active)])
    own_first, own_second = first[:, active], second[:, active]
    rows = np.repeat(own_first[np.newaxis], active.size, axis=0)
    for k in range(active.size):
        rows[k, :, k] = own_second[:, k]
    shares = np.concatenate([own_first, own_second, rows.reshape(-1, active.size)])
    terms, parts = polynomial(shares)
    weights = np.linalg.lstsq(terms, values[used], rcond=None)[0]
    fitted = terms @ weights
    g_first, g_second = fitted[:base], fitted[base : 2 * base]
    g_pages = fitted[2 * base :].reshape(active.size, base)
    squares = weights[1:] ** 2
    single = np.array([squares[[part == {k} for part in parts]].sum() for k in range(active.size)])
    whole = np.array([squares[[k in part for part in parts]].sum() for k in range(active.size)])
    g_mean = float(weights[0])
    mean = g_mean + float(np.mean([at_first - g_first, at_second - g_second]))
    alone = (at_second - mean) * (pages - at_first) - (g_second - g_mean) * (g_pages - g_first)
    in_all = 0.5 * ((at_first - pages) ** 2 - (g_first - g_pages) ** 2)
    variance = 0.5 * sum(
        (f - mean) ** 2 - (g - g_mean) ** 2 for f, g in ((at_first, g_first), (at_second, g_second))
    )
    variance = variance + squares.sum()
    result = np.zeros((4, count))
    result[0, active], result[2, active] = _ratio(alone + single[:, np.newaxis], variance)
    result[1, active], result[3, active] = _ratio(in_all + whole[:, np.newaxis], variance)
    # No part of a variance is less than nothing, or more than all of it.
    return Indices(*np.clip(result[:2], 0.0, 1.0), *result[2:])


def polynomial(shares: NDArray[np.float64]) -> tuple[NDArray[np.float64], list[frozenset[int]]]:
    """Terms of second order at shares (rows, quantities) in 0 to 1: (rows, terms), a constant first; and of
    which quantities each of the others is.

    Legendre's polynomials, orthonormal over 0 to 1: the variance of a sum of them is that of the squares of
    its weights.
    """
    rows, count = shares.shape
    x = 2.0 * shares - 1.0
    line, parabola = np.sqrt(3.0) * x, np.sqrt(5.0) * (1.5 * x * x - 0.5)
    columns = [np.ones((rows, 1)), line, parabola]
    parts = [frozenset({k}) for k in range(count)] * 2
    products = [(k, m) for k in range(count) for m in range(k)]
    if len(parts) + len(products) < min(MOST_TERMS, rows // ROWS_A_TERM) and products:
        columns.append(np.stack([line[:, k] * line[:, m] for k, m in products], axis=1))
        parts += [frozenset(pair) for pair in products]
    return np.concatenate(columns, axis=1), parts


def _ratio(
    above: NDArray[np.float64], below: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The ratio of two means over (..., points), (points,), and its standard error by the jackknife."""
    points = below.size
    total, under = above.sum(axis=-1), below.sum()
    left_out = (total[..., np.newaxis] - above) / (under - below)
    error = np.sqrt((points - 1) / points * ((left_out - left_out.mean(axis=-1, keepdims=True)) ** 2).sum(-1))
    return total / under, error
