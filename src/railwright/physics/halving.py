"""Where a condition begins to hold, by halving; where a value comes to a limit, or is the greatest."""

from __future__ import annotations

import math
from collections.abc import Callable

GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0


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
    """The least argument at which a value that never falls comes to one that is wanted, as it does at
    `high`: with fewer looks than by halving where it is smooth, and one more at most.

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


def last_within(
    value: Callable[[float], float],
    limit: float,
    high: float,
    ends: tuple[float, float],
    near: float,
    steps: int,
) -> float:
    """About where a value that never falls comes to a limit, by regula falsi (the Illinois variant); 0: not
    even at the lower end is it below that, inf: at the upper one it still is. high: where it is looked for
    first; ends: between which it is sought; near: in parts of the limit.
    """
    low, high = 0.0, max(high, ends[0])
    below, above = limit - value(ends[0]), limit - value(high)
    if below <= 0.0:
        return 0.0
    while above > 0.0:
        if high > ends[1]:
            return math.inf
        low, high, below = high, 8.0 * high, above
        above = limit - value(high)
    for _ in range(steps):
        at = (low * above - high * below) / (above - below)
        left = limit - value(at)
        if left > 0.0:
            low, below, above = at, left, above / 2.0
        else:
            high, above, below = at, left, below / 2.0
        if abs(left) < near * limit:
            break
    return at


def greatest(of: Callable[[float], float], low: float, high: float, steps: int) -> float:
    """The greatest value between two places, of one that rises to it and then falls: by golden sections."""
    places = [high - GOLDEN * (high - low), low + GOLDEN * (high - low)]
    values = [of(place) for place in places]
    for _ in range(steps):
        if values[0] < values[1]:
            low = places[0]
            places = [places[1], low + GOLDEN * (high - low)]
            values = [values[1], of(places[1])]
        else:
            high = places[1]
            places = [high - GOLDEN * (high - low), places[0]]
            values = [of(places[0]), values[0]]
    return max(values)
