"""What a measure comes to: a value with its interval and budget, or why there is none."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Contribution:
    """One source of uncertainty: standard uncertainty in the result's unit, and its distribution.

    distribution: 'rectangular', 'triangular' or 'normal'. degrees: degrees of freedom of the standard
    uncertainty: how well it is known itself; infinite: it is not in doubt.
    """

    source: str
    standard: float
    distribution: str
    degrees: float = math.inf

    @property
    def words(self) -> str:
        """The distribution, and the degrees of freedom where they are finite."""
        return (
            self.distribution if self.degrees == math.inf else f"{self.distribution}, ν = {self.degrees:.3g}"
        )


@dataclass(frozen=True, slots=True)
class Measured:
    """A measured value with its 95 % coverage interval [low, high], in the measure's unit.

    value: best estimate. contributions: the uncertainty budget. unseen: what the reading cannot see, in words
    (empty where nothing hides from it); `high` is then the bound of what may hide, not a probability.
    how: how the value was computed, in a sentence. assumptions: what was taken where a document says nothing.
    hides: what it is that can hide, without what bounds it; empty: `unseen` says no more. would_decide: what
    would see or decide it. elsewhere: which part of the step another record judges, in words; empty: none.
    open_above: nothing bounds it from above but what a lead would let through, which `high` then is.
    enclosed: `low` and `high` hold whatever is not seen, which decides only of a limit between them.
    widened_below, widened_above: by how much readings of this kind miss the true value in a rehearsal of the
    step; the interval is that much wider on either side.
    """

    value: float
    low: float
    high: float
    contributions: tuple[Contribution, ...]
    how: str
    unseen: str = ""
    would_decide: str = ""
    assumptions: tuple[str, ...] = ()
    elsewhere: str = ""
    hides: str = ""
    open_above: bool = False
    enclosed: bool = False
    widened_below: float = 0.0
    widened_above: float = 0.0

    @property
    def widened(self) -> float:
        """The larger of both; 0: the readings are not known to miss anything."""
        return max(self.widened_below, self.widened_above)

    @property
    def bounded(self) -> float:
        """Upper end of the interval as it is shown: infinite where nothing bounds it from above."""
        return math.inf if self.open_above else self.high


class CannotMeasure(Exception):
    """The record does not allow the measure: why, and what would."""

    def __init__(self, why: str, would_decide: str = "") -> None:
        super().__init__(why)
        self.would_decide = would_decide


class NotAsRequired(Exception):
    """Something else happened than what is required, so that it has failed: what, in words."""


class Beyond(Exception):
    """The event did not happen up to a bound: the true value lies above (or below) `bound`."""

    def __init__(self, why: str, bound: float, side: Literal["above", "below"]) -> None:
        super().__init__(why)
        self.bound = bound
        self.side = side
