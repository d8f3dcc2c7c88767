"""The two forms of a quantity that are more than a number: a range, and a parameter with its bounds."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Interval:
    """A range from `low` to `high`, in SI units; `text` is what the document says."""

    low: float
    high: float
    text: str = ""

    def __contains__(self, value: float) -> bool:
        return self.low <= value <= self.high


@dataclass(frozen=True, slots=True)
class Uncertain:
    """A parameter with its bounds, in SI units; a plain value has low == nominal == high."""

    nominal: float
    low: float
    high: float
    text: str = ""

    @property
    def certain(self) -> bool:
        """Whether no bounds were given."""
        return self.low == self.high
