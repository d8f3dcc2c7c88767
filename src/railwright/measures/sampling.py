"""What readings cannot see, and how fast a recording has to be to see it: the same before a run and after it.

The check says with these figures what will stay open, the evaluation what has stayed open.
"""

from __future__ import annotations

SAMPLES = 200.0
"""Samples that a recording should have within what the readings cannot see into."""

LONGEST = 1e-3
"""However slow the readings are, a recording that sees what they hide has a sample as often as this [s]: what
an output gives until its limit has responded is over in about that time (chosen).
"""

LEAST_COVERED = 0.5
"""Where apertures cover less than this part of the time, what is drawn between them is not taken to be as in
them: most of what an integral says of it would be nobody's reading.
"""

AS_EVEN = 1.01
"""A recording samples as often as is asked where its samples are no farther apart than this many times that:
a clock is not exact.
"""


def averaged(aperture: float | None) -> bool:
    """Whether a reading is a mean over an aperture (known or not), which hides what is shorter."""
    return aperture is None or aperture > 0.0


def blind_time(update: float, every: float, aperture: float) -> float:
    """Length of a peak that can be averaged away or fall between readings [s].

    update: time between two new readings; every: time between two that are recorded; aperture: the largest.
    """
    return max(update, every) + aperture


def covered_part(update: float, every: float, aperture: float) -> float:
    """Part of the time that apertures cover, of readings that are new every `update` and recorded `every`,
    all in seconds.
    """
    apart = max(update, every)
    return min(1.0, aperture / apart) if apart > 0.0 else 1.0


def deciding_interval(blind: float) -> float:
    """Longest time between two samples of a recording that sees into this [s]."""
    return min(blind / SAMPLES, LONGEST)


def as_often(interval: float, asked: float) -> bool:
    """Whether samples that are so far apart come as often as is asked, for one each `asked` [s]: what the
    check says of a recorder of the bench, and an evaluation of what it recorded.
    """
    return interval <= AS_EVEN * asked


def sample_rate(interval: float) -> str:
    """'N samples/s' for a time between two samples [s], rounded up to two digits."""
    samples = 1.0 / interval
    magnitude = 10.0 ** max(0, len(str(int(samples))) - 2)
    rounded = magnitude * -(-samples // magnitude)
    return f"{rounded:,.0f} samples/s".replace(",", " ")
