"""Time at the current limit while an input is charged, and the limit for a time: closed forms."""

from __future__ import annotations

from railwright.settings.context import Source

HALVINGS = 16
"""Halvings of an output's range of currents: to a few parts in 100,000 of it, which the grid then settles."""


def charging_time(source: Source, limit: float) -> float:
    """Longest time at a limit [A], less its error, by its closed form [s]."""
    charging = source.longest_charging(limit - (source.limit_error(limit) or 0.0))
    return charging.time if charging is not None else 0.0


def charges_within(source: Source, delay: float) -> float | None:
    """The least limit [A] with which everything is charged within a delay [s], from above; None: the largest
    does not do it.
    """
    low, high = 0.0, source.full_current
    if charging_time(source, high) > delay:
        return None
    for _ in range(HALVINGS):
        middle = (low + high) / 2.0
        low, high = (low, middle) if charging_time(source, middle) <= delay else (middle, high)
    return high
