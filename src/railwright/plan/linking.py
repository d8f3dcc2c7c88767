"""Linked trips: which of them a supply carries out itself, and how long the program takes for the others."""

from __future__ import annotations

from collections.abc import Mapping

from railwright.documents.bench import Bench
from railwright.documents.output_name import OutputName
from railwright.plan.set_points import Feed, SetPoints
from railwright.plan.stairs import exchange_of, looks_per_reading


def look_interval(every: float) -> float:
    """How often a run looks at the outputs [s] that records a reading every so often [s]."""
    return every / looks_per_reading(every)


def linked_trips(set_points: SetPoints) -> dict[str, tuple[str, ...]]:
    """Input -> the inputs whose trip switches it off: those that the procedure names, and itself where
    several outputs feed it.
    """
    found = {}
    for name, feed in set_points.items():
        own = (name,) if len(feed.outputs) > 1 else ()
        if causes := (*own, *(cause for cause in feed.trips_when if cause in set_points)):
            found[name] = causes
    return found


def own_links(set_points: SetPoints, bench: Bench) -> dict[OutputName, tuple[OutputName, ...]]:
    """Output -> the outputs of its supply whose trip switches it off, where the supply links by itself."""
    found = {}
    for name, causes in linked_trips(set_points).items():
        for output in set_points[name].names:
            if bench.supply_of(output).dialect.link is None:
                continue
            others = dict.fromkeys(each for cause in causes for each in set_points[cause].names)
            mine = tuple(each for each in others if each.supply == output.supply and each != output)
            if mine:
                found[output] = mine
    return found


def linked_by_program(set_points: SetPoints, bench: Bench, every: float) -> Mapping[tuple[str, str], float]:
    """(input that goes off, input that trips) -> longest time between the two [s], where no supply links
    them.

    every: interval of the readings that are recorded [s].
    """
    links = own_links(set_points, bench)
    found = {}
    for name, causes in linked_trips(set_points).items():
        for cause in causes:
            pairs = [(mine, other) for mine in set_points[name].names for other in set_points[cause].names]
            if not all(mine == other or other in links.get(mine, ()) for mine, other in pairs):
                found[name, cause] = program_takes(set_points[name], set_points[cause], bench, every)
    return found


def program_takes(feed: Feed, cause: Feed, bench: Bench, every: float) -> float:
    """Longest time from a trip until the program has switched another input off [s]: it sees the trip at its
    next look, which takes an exchange, and then sends OFF to all supplies at once, of which each carries it
    out after the exchange that is under way.

    every: interval of the readings that are recorded [s].
    """
    return look_interval(every) + exchange_of(cause.names, bench) + exchange_of(feed.names, bench)
