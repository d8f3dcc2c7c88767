"""What keeps a hook-up from being taken: the reason in numbers, and the change that would part it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Literal

from railwright.circuit.leads import Resistance
from railwright.documents.bench import Bench, Lead, Output
from railwright.documents.hook_up import HookUp
from railwright.documents.output_name import OutputName
from railwright.settings.context import Source
from railwright.settings.hookup.demand import Demand
from railwright.settings.hookup.group import Group
from railwright.settings.rule import Path

Sensed = Literal["at load", "at terminals"]

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


@dataclass(frozen=True, eq=False)
class Proposal:
    """A group of outputs with a lead and a place of sensing, proposed for an input."""

    demand: Demand
    group: Group
    lead_name: str
    lead: Lead
    resistance: Resistance
    sense: Sensed
    bench: Bench

    @property
    def sensed_drop(self) -> float:
        """Drop that the terminals make up for at the largest steady current [V]."""
        return self.drop(self.demand.current) if self.sense == "at load" else 0.0

    def drop(self, current: float) -> float:
        """Largest drop along lead and fixture at a current [V]."""
        return self.demand.drop(self.resistance, current)

    @property
    def top(self) -> float:
        """Highest steady voltage at the terminals [V]."""
        return self.demand.highest + self.sensed_drop

    def fed(self) -> Source:
        """The input as rules and windows see it, fed like this."""
        base = self.demand.source
        wish = self.demand.wish
        hook_up = HookUp(
            source=self.group.source, lead=self.lead_name, fixture=wish.fixture, sense=self.sense
        )
        outputs = dict(zip(self.group.names, self.group.rows, strict=True))
        source = replace(base, hook_up=hook_up, lead=self.lead, outputs=outputs, resistance=self.resistance)
        # What the input draws hangs on none of these, and takes long to work out.
        vars(source).update(load=base.load, asked=base.asked)
        return source

    @property
    def power(self) -> float:
        """Largest steady power at the terminals [W]."""
        return self.demand.power(self.resistance if self.sense == "at load" else None)


Found = Iterator[Obstacle]


def each_of(group: Group) -> Iterator[tuple[OutputName, Output]]:
    """Name and figures of each output of a group."""
    yield from zip(group.names, group.rows, strict=True)


def round_up(value: float) -> float:
    """A figure rounded up to two significant digits, for what people are to look for."""
    return _rounded(value, math.ceil)


def round_down(value: float) -> float:
    """A figure rounded down to two significant digits."""
    return _rounded(value, math.floor)


def _rounded(value: float, way: Callable[[float], int]) -> float:
    if value <= 0:
        return value
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    nearest = round(value / step)
    whole = nearest if abs(value / step - nearest) < 1e-9 else way(value / step)
    return float(f"{whole * step:.6g}")
