"""Where a condition begins to hold, by halving."""

from __future__ import annotations

import math
from collections.abc import Callable


def least(holds: Callable[[float], bool], low: float, high: float, halvings: int) -> float:
    """The least value between two from which on a condition holds: from above, to a part of the interval by
    so many halvings. It holds at `high`.
    """
    for _ in range(halvings):
        middle = (low + high) / 2.0
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high


def least_with(
    value: Callable[[float], float], wanted: float, low: float, high: float, halvings: int
) -> float:
    """The same of where a value that never falls comes to one that is wanted, as it does at `high`: with
    fewer looks where it is smooth, and one more than by halving at most.

    The secant's guess, drawn towards the middle and kept as near to it as halving needs (ITP: I. F. D.
    Oliveira and R. H. C. Takahashi, ACM TOMS 47 (2021), art. 5, with κ1 = 0.2 / width, κ2 = 2, n0 = 1;
    from memory).
    """
    width, steps = high - low, 0
    close = width * 0.5 ** (halvings + 1)
    below, above = value(low) - wanted, value(high) - wanted
    if below >= 0.0:
        return low
    # Rounding may leave a little more than that after the last step that halving would need.
    while high - low > 2.0 * close and steps <= halvings:
        middle = (low + high) / 2.0
        secant = (above * low - below * high) / (above - below)
        towards = math.copysign(1.0, middle - secant)
        drawn = max(close, 0.2 / width * (high - low) ** 2)  # less is lost in rounding
        guess = secant + towards * drawn if drawn <= abs(middle - secant) else middle
        reach = close * 2.0 ** (halvings + 1 - steps) - (high - low) / 2.0
        at = guess if abs(guess - middle) <= reach else middle - towards * reach
        found = value(at) - wanted
        low, below, high, above = (low, below, at, found) if found >= 0.0 else (at, found, high, above)
        steps += 1
    return high
