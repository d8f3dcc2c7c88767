"""Combination of uncertainty contributions: propagation (JCGM 100) and the 95 % interval of the actual
distribution.

The interval is not "k = 2": with few and bounded contributions that would be far too wide (a single
rectangular contribution of half-width a has all of its probability within a = √3 u). Instead the
distributions themselves are convolved, numerically and without random numbers, as JCGM 101 does by
simulation.

A standard uncertainty that is itself known only so well has degrees of freedom: n - 1 of n observations,
or as many as the doubt in it says. A bound that is in doubt is no rectangle any more: such contributions
count as normal ones, and the whole interval widens as Student's t does, by the effective degrees of freedom.

References
----------
.. [1] JCGM 100:2008 (GUM), 4.3.7 (rectangular), F.2.2.1 (resolution), 5.2.2 (correlated input quantities),
   annex G (G.3: Student's t; G.4.1: Welch-Satterthwaite formula; G.4.2: degrees of freedom from the doubt
   in u).
.. [2] JCGM 101:2008, propagation of distributions; 7.7 coverage interval.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

from railwright.measures.outcome import Contribution

COVERAGE = 0.95
RECTANGULAR, NORMAL, TRIANGULAR = "rectangular", "normal", "triangular"
_POINTS = 8001
_LARGEST_RECTANGLES = 12
_ROUNDING = 1e-9
"""What degrees of freedom may fall short of an integer by the rounding of a sum."""


def rectangular(source: str, half_width: float, degrees: float = math.inf) -> Contribution:
    """A quantity known to lie within ±half_width: u = a/√3 [1]_. degrees: of freedom of u."""
    return Contribution(source, abs(half_width) / math.sqrt(3.0), RECTANGULAR, degrees)


def resolution(source: str, step: float) -> Contribution:
    """A digital indication with this step: u = step/√12 [1]_."""
    return Contribution(source, abs(step) / math.sqrt(12.0), RECTANGULAR)


def normal(source: str, standard: float, degrees: float = math.inf) -> Contribution:
    """A normally distributed quantity of this standard deviation. degrees: of freedom of it."""
    return Contribution(source, abs(standard), NORMAL, degrees)


def degrees_of_doubt(doubt: float) -> float:
    """Degrees of freedom of a standard uncertainty u that is itself known to `doubt` = Δu/u: ν = 1 / 2 doubt²
    [1]_.
    """
    return math.inf if doubt == 0.0 else 0.5 / doubt**2


def effective_degrees(contributions: Sequence[Contribution]) -> float:
    """Effective degrees of freedom of the combined standard uncertainty: u⁴ / Σ uᵢ⁴/νᵢ (Welch-Satterthwaite
    [1]_); infinite where no contribution has any.
    """
    total = combined_standard(contributions)
    if total == 0.0:
        return math.inf
    shares = math.fsum((c.standard / total) ** 4 / c.degrees for c in contributions)
    return 1.0 / shares if shares > 0.0 else math.inf


def student_factor(degrees: float, probability: float) -> float:
    """By how much Student's t exceeds the normal distribution, at the value below which `probability` lies.

    degrees: truncated to the next lower integer, and at least 1, as G.4.1 says [1]_.
    """
    if degrees == math.inf or probability == 0.5:
        return 1.0
    from scipy.special import stdtrit

    quantile = float(stdtrit(max(1.0, math.floor(degrees * (1.0 + _ROUNDING))), probability))
    return quantile / NormalDist().inv_cdf(probability)


def triangular(source: str, half_width: float) -> Contribution:
    """The sum of two equal rectangular quantities: u = a/√6."""
    return Contribution(source, abs(half_width) / math.sqrt(6.0), TRIANGULAR)


def of_many(source: str, half_widths: ArrayLike) -> Contribution:
    """Many independent bounded quantities as one contribution, with the distribution that their sum has.

    One that outweighs all others leaves it rectangular, two triangular, more tend to a normal distribution.
    """
    widths = np.abs(np.asarray(half_widths, dtype=np.float64))
    largest = float(np.max(widths, initial=0.0))
    if largest == 0.0:
        return Contribution(source, 0.0, RECTANGULAR)
    squares = np.square(widths / largest)  # so that no power of a tiny one is lost
    total = float(np.sum(squares))
    standard = largest * math.sqrt(total / 3.0)
    effective = total**2 / float(np.sum(np.square(squares)))
    kind = RECTANGULAR if effective < 1.5 else TRIANGULAR if effective < 3.0 else NORMAL
    return Contribution(source, standard, kind)


def combined_standard(contributions: Sequence[Contribution]) -> float:
    """Combined standard uncertainty of independent contributions: the root of the sum of squares [1]_."""
    return math.sqrt(math.fsum(c.standard**2 for c in contributions))


def half_interval(contributions: Sequence[Contribution], probability: float = COVERAGE) -> float:
    """Half-width q of the symmetric coverage interval: the sum of all contributions lies within ±q with
    `probability`.
    """
    return quantile(contributions, 0.5 + probability / 2.0)


def quantile(contributions: Sequence[Contribution], probability: float) -> float:
    """The value below which the sum of the (zero-mean, independent) contributions lies with `probability`
    [2]_, as far as their standard uncertainties are known [1]_.
    """
    total = combined_standard(contributions)
    if total == 0.0:
        return 0.0
    widened = student_factor(effective_degrees(contributions), probability)
    rectangles, sigma = _split(contributions, total)
    if not rectangles:
        return sigma * NormalDist().inv_cdf(probability) * widened
    grid, distribution = _distribution(rectangles, sigma)
    return float(np.interp(probability, distribution, grid)) * widened


def _split(contributions: Sequence[Contribution], total: float) -> tuple[list[float], float]:
    """Half-widths of the rectangles that matter, and one normal standard deviation for everything else."""
    rectangles: list[float] = []
    variance = 0.0
    for contribution in contributions:
        if contribution.degrees < math.inf or contribution.distribution == NORMAL:
            variance += contribution.standard**2
        elif contribution.distribution == RECTANGULAR:
            rectangles.append(contribution.standard * math.sqrt(3.0))
        elif contribution.distribution == TRIANGULAR:
            rectangles += [contribution.standard * math.sqrt(6.0) / 2.0] * 2
        else:
            raise ValueError(f"unknown distribution '{contribution.distribution}' of '{contribution.source}'")
    rectangles.sort(reverse=True)
    kept = [a for a in rectangles[:_LARGEST_RECTANGLES] if a > 1e-3 * total]
    variance += math.fsum(a * a / 3.0 for a in rectangles[len(kept) :])
    return kept, math.sqrt(variance)


def _distribution(rectangles: list[float], sigma: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Cumulative distribution of the sum, on a grid.

    Adding a rectangular quantity of half-width a to X: F(x) = (G(x + a) - G(x - a)) / 2a, G the integral of
    X's F.
    """
    reach = math.fsum(rectangles) + 6.5 * sigma
    grid = np.linspace(-reach, reach, _POINTS)
    step = grid[1] - grid[0]
    if sigma > 2.0 * step:
        distribution = np.interp(grid / sigma, *_standard_normal())
        remaining = rectangles
    else:
        distribution = np.clip((grid + rectangles[0]) / (2.0 * rectangles[0]), 0.0, 1.0)
        remaining = rectangles[1:]
    for half_width in remaining:
        distribution = _with_rectangle(distribution, half_width / step) / (2.0 * half_width / step)
    return grid, np.maximum.accumulate(distribution)


def _with_rectangle(distribution: NDArray[np.float64], half_width: float) -> NDArray[np.float64]:
    """G(x + a) - G(x - a) at each point of a grid, G the integral of the distribution there, which is 0 below
    the grid and 1 above it. half_width: a, in steps of the grid; between two points G is a straight line.
    """
    whole, part = int(half_width), half_width % 1.0
    integral = np.concatenate(([0.0], np.cumsum(0.5 * (distribution[1:] + distribution[:-1]))))
    beyond = np.arange(1.0, whole + 2.0)
    integral = np.concatenate((np.zeros(beyond.size), integral, integral[-1] + beyond))
    above, below = integral[-distribution.size - 1 :], integral[: distribution.size + 1]
    moved: NDArray[np.float64] = (1.0 - part) * (above[:-1] - below[1:]) + part * (above[1:] - below[:-1])
    return moved


@cache
def _standard_normal() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The standard normal distribution on a grid fine enough for linear interpolation (error below 1e-7)."""
    grid = np.linspace(-7.0, 7.0, 14001)
    return grid, np.array([0.5 + 0.5 * math.erf(x / math.sqrt(2.0)) for x in grid])
