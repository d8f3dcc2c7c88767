"""What readings cannot see, and how fast a recording has to be to see it: the same before a run and after it.

The check says with these figures what will stay open, the evaluation what has stayed open.
"""

from __future__ import annotations

SAMPLES = 200.0
"""Samples that a recording should have within what the readings cannot see into."""


def averaged(aperture: float | None) -> bool:
    """Whether a reading is a mean over an aperture (known or not), which hides what is shorter."""
    return aperture is None or aperture > 0.0


def blind_time(update: float, every: float, aperture: float) -> float:
    """Length of a peak that can be averaged away or fall between readings [s].

    update: time between two new readings; every: time between two that are recorded; aperture: the largest.
    """
    return max(update, every) + aperture


def deciding_interval(blind: float) -> float:
    """Longest time between two samples of a recording that sees into this [s]."""
    return blind / SAMPLES


def sample_rate(interval: float) -> str:
    """'N samples/s' for a time between two samples [s], rounded up to two digits."""
    samples = 1.0 / interval
    magnitude = 10.0 ** max(0, len(str(int(samples))) - 2)
    rounded = magnitude * -(-samples // magnitude)
    return f"{rounded:,.0f} samples/s".replace(",", " ")
