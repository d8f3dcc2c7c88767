"""Where a condition begins to hold, by halving."""

from __future__ import annotations

from collections.abc import Callable


def least(holds: Callable[[float], bool], low: float, high: float, halvings: int) -> float:
    """The least value between two from which on a condition holds: from above, to a part of the interval by
    so many halvings. It holds at `high`.
    """
    for _ in range(halvings):
        middle = (low + high) / 2.0
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high
