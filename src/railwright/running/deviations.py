"""What a run did otherwise than asked, in words for the report."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from railwright.quantities import show

LATE = 0.01
"""A move done later than this is a deviation that the report shows [s]."""

SETTINGS_PERIOD = 10.0
"""Settings that are asked for again more seldom than this [s] are a deviation that the report shows."""


def deviations_of(
    late: float,
    left_out: int,
    missed: int,
    clocks: Iterable[str],
    periods: Mapping[str, float],
    slower: Mapping[str, tuple[float, float]],
) -> list[str]:
    """One line for each. late: of the latest set point [s]. left_out: set points, missed: readings that were
    left out. clocks: notes about the computer's clocks. periods: supply -> that of its settings [s]. slower:
    supply -> what an exchange with it took at least, and was taken to [s].
    """
    found = []
    if late > LATE:
        found.append(f"a set point came {show(late, 's')} late")
    if left_out:
        found.append(f"{left_out} set points were left out: the supplies did not keep up with them")
    if missed:
        found.append(f"{missed} readings were left out: the instruments did not keep up with the interval")
    found += clocks
    for name, period in periods.items():
        if period > SETTINGS_PERIOD:
            found.append(f"{name}: every setting was asked for again once in {show(period, 's')} only")
    for name, (took, taken) in slower.items():
        found.append(
            f"{name}: one command with its verification took {show(took, 's')} at least, where "
            f"check used {show(taken, 's')} ('exchange'): linked trips by the program come later than "
            "check says"
        )
    return found
