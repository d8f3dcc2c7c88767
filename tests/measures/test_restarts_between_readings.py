"""Stops of a load that fit between readings, or look like one: no count that is said to be sure is too low.

The truth is worked out beside the program, in small steps of time (`fed.py`). Each scene is read at several
intervals, readings left out and handed over twice, and from several phases.
"""

from __future__ import annotations

import pytest
from tests.measures.fed import Course, Fed, Load, fed
from tests.measures.test_restarts_at_edges import HUNTS, behind

from railwright.measures.restarts import restarts

READ = [(update, update * part) for update in (8e-3, 20e-3, 30e-3) for part in (0.7, 1.0, 2.0)]
"""Update of the supply, and time between two polls [s]."""
PHASES = 3
NIGHT_LAMP = Load(42.0, 9.0, 6.8, 1.1e-3, 20e-3)
GAUGE = Load(13.5, 3.7, 2.8, 3.0e-3, 45e-3)
RADIO = Load(13.5, 3.7, 2.8, 3.0e-3, 5e-3)


def read_sure(known: Fed) -> list[float]:
    """The counts that are said to be sure, of all ways to read the scene."""
    found = [
        restarts(known.read(seed, 0.0, 1.0, update=update, every=every))
        for update, every in READ
        for seed in range(PHASES)
    ]
    return [each.value for each in found if not each.unseen]


@pytest.mark.parametrize(
    ("load", "ohms", "course"),
    [
        # A supply too weak to start it for a while, after it was away,
        (HUNTS, 0.27, [(-0.3, 4.6), (0.3, 2.2), (0.4, 3.3), (0.44, 4.6)]),
        (NIGHT_LAMP, 0.9, [(-0.3, 15.0), (0.3, 6.5), (0.4, 12.0), (0.45, 15.0)]),
        (RADIO, 0.5, [(-0.3, 7.0), (0.3, 2.6), (0.4, 5.0), (0.42, 7.0)]),
        # before it is,
        (HUNTS, 0.27, [(-0.3, 4.6), (0.3, 3.3), (0.32, 2.2), (0.42, 4.6)]),
        (GAUGE, 0.5, [(-0.3, 7.0), (0.3, 5.0), (0.42, 2.6), (0.52, 7.0)]),
        # or while it runs.
        (HUNTS, 0.27, [(-0.3, 4.6), (0.3, 3.3), (0.35, 4.6)]),
        (NIGHT_LAMP, 0.9, [(-0.3, 15.0), (0.3, 12.0), (0.42, 15.0)]),
        (GAUGE, 0.5, [(-0.3, 7.0), (0.3, 5.0), (0.38, 7.0)]),
        # Two dips so close together that readings show one.
        (HUNTS, 0.27, [(-0.3, 4.6), (0.3, 2.2), (0.325, 4.6), (0.331, 2.2), (0.356, 4.6)]),
        (RADIO, 0.5, [(-0.3, 7.0), (0.3, 2.6), (0.306, 7.0), (0.331, 2.6), (0.337, 7.0)]),
        (GAUGE, 0.5, [(-0.3, 7.0), (0.3, 2.6), (0.325, 7.0), (0.35, 2.6), (0.375, 7.0)]),
    ],
)
def test_what_a_weak_supply_makes_a_load_do_between_readings(load: Load, ohms: float, course: Course) -> None:
    known = behind(load, ohms, list(course), 1.2)
    stops = known.stops_in(0.0, 1.0)
    assert stops >= 1
    assert all(each == stops for each in read_sure(known))


@pytest.mark.parametrize(
    ("load", "volts", "low", "limits"),
    [
        (Load(20.0, 38.0, 33.0, 47e-6, 30e-3), 48.0, 20.0, (1.2, 0.38)),
        (Load(20.0, 38.0, 33.0, 10e-6, 20e-3), 48.0, 20.0, (1.0, 0.40)),
        (Load(10.0, 8.0, 6.0, 470e-6, 20e-3), 12.0, 5.0, (3.0, 0.9)),
    ],
)
def test_a_limit_that_is_too_low_to_start_it(
    load: Load, volts: float, low: float, limits: tuple[float, float]
) -> None:
    """It is away, and is fed again before the limit is what it was."""
    course = [(-0.3, volts), (0.3, low), (0.4, volts)]
    known = fed(load, course, [(-0.3, limits[0]), (0.3, limits[1]), (0.5, limits[0])], 1.2)
    stops = known.stops_in(0.0, 1.0)
    assert stops >= 1
    assert all(each == stops for each in read_sure(known))


@pytest.mark.parametrize(
    ("load", "ohms", "course"),
    [
        (HUNTS, 0.27, [(-0.3, 4.6), (0.3, 2.2), (0.4, 4.6)]),
        (NIGHT_LAMP, 0.9, [(-0.3, 15.0), (0.3, 6.5), (0.45, 15.0)]),
        (GAUGE, 0.5, [(-0.3, 7.0), (0.3, 2.6), (0.4, 7.0), (0.7, 2.6), (0.8, 7.0)]),
    ],
)
def test_a_fall_to_where_it_cannot_run_and_back_is_counted_for_sure(
    load: Load, ohms: float, course: Course
) -> None:
    """Of a supply that goes back to where the load was seen to run: most ways to read it are sure, as long as
    a soft start shows in them.
    """
    known = behind(load, ohms, list(course), 1.2)
    stops = known.stops_in(0.0, 1.0)
    sure = read_sure(known)
    assert len(sure) >= 0.5 * len(READ) * PHASES
    assert all(each == stops for each in sure)
