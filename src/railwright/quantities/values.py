"""The two forms of a quantity that are more than a number: a range, and a parameter with its bounds."""

from __future__ import annotations

from dataclasses import dataclass

DISTRIBUTIONS = ("rectangular", "triangular", "arcsine", "normal")
"""Named distributions. Bounds for which none is named are taken as a rectangular one."""


@dataclass(frozen=True, slots=True)
class Interval:
    """A range from `low` to `high`, in SI units; `text` is what the document says."""

    low: float
    high: float
    text: str = ""

    def __contains__(self, value: float) -> bool:
        return self.low <= value <= self.high

    def beyond(self, value: float) -> float:
        """How far a value lies outside; inside, how far from the nearer end, negative."""
        return max(self.low - value, value - self.high)


@dataclass(frozen=True, slots=True)
class Uncertain:
    """A parameter with its bounds, in SI units; a plain value has low == nominal == high.

    distribution: one of `DISTRIBUTIONS`, how it is spread (JCGM 101, 6.4). k: for 'normal' only, of how many
    standard deviations the bounds lie from the nominal value.
    """

    nominal: float
    low: float
    high: float
    text: str = ""
    distribution: str = "rectangular"
    k: float = 0.0

    @property
    def certain(self) -> bool:
        """Whether no bounds were given."""
        return self.low == self.high
