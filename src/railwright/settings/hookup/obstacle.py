"""What keeps a hook-up from being taken: the reason in numbers, and the change that would part it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from railwright.quantities import show
from railwright.settings import figures
from railwright.settings.constraints.constraint import Constraint, Missing, broken, constraints_in
from railwright.settings.context import UNITS
from railwright.settings.hookup.demand import Demand
from railwright.settings.rule import Path

FIGURE, PROCEDURE, PERMISSION, LEAD, UNCOUPLE = 1, 2, 3, 4, 5
"""What a change costs, where nothing fits: the smallest change is the one that costs least. A figure to be
looked up, a word in the procedure, a permission of the maker, another lead, uncoupled outputs; a further
output costs more than all of these together (program.OUTPUT).
"""


@dataclass(frozen=True, slots=True)
class Obstacle:
    """One reason against a hook-up, in numbers. change: what would part it, in the bench or the procedure,
    and what that costs; None: only another output would. where: the place of that change.
    """

    why: str
    change: str | None = None
    cost: int = 0
    where: Path | None = None


Found = Iterator[Obstacle]


def unknown(fact: Missing) -> Obstacle:
    """A figure that the bench does not give, without which nothing is chosen."""
    _, kind, name, *rest = fact.path
    of = (
        f"lead '{name}'"
        if kind == "leads"
        else f"{name}.{rest[1]}"
        if rest[0] == "outputs"
        else f"supply {name}"
    )
    return Obstacle(f"{fact.figure} of {of} is unknown", f"give '{fact.path[-1]}' of {of}", FIGURE, fact.path)


def against(demand: Demand, facts: Iterable[Constraint | Missing], value: float, *change: Any) -> Found:
    """The hook-up's view of constraints: what speaks against outputs with which a figure does not hold, or is
    unknown; stops that the procedure accepts do not. change: what would part it, its cost and place; none:
    only another output would.
    """
    known = demand.asked_of(facts)
    yield from (unknown(fact) for fact in known if isinstance(fact, Missing))
    if (worst := broken(known, value)) is not None:
        yield Obstacle(worst.breach(value)[0], *change)


def written(demand: Demand, setting: str, facts: Iterable[Constraint | Missing]) -> Found:
    """The same of a setting that the procedure writes: another value may do, if there is one that holds.

    facts: only worked out where it is written.
    """
    value = getattr(demand.limits, setting)
    if value is None or isinstance(value, str):
        return
    bounds = constraints_in(demand.asked_of(facts))
    if (worst := broken(bounds, value)) is None:
        return
    low = figures.round_up(max((each.near for each in bounds if each.side == "low"), default=0.0), 3)
    high = min((each.near for each in bounds if each.side == "high"), default=math.inf)
    change: tuple[Any, ...] = ()
    if low < high:
        most = f" and at most {show(figures.round_down(high, 3), UNITS[setting])}" if high < math.inf else ""
        words = f"write a '{setting}' of {demand.name} above {show(low, UNITS[setting])}{most}"
        change = (words, PROCEDURE, (*demand.source.at_limits, setting))
    yield Obstacle(worst.breach(value)[0], *change)
