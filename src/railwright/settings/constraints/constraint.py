"""The constraint: a condition that holds on one side of a value and not on the other, and why."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Literal, NamedTuple

from railwright.documents.bench import Output
from railwright.documents.output_name import OutputName
from railwright.quantities import Interval, show, state
from railwright.settings.group import Group
from railwright.settings.rule import Path, Unknown

Side = Literal["low", "high"]

EXACT = 1e-9
"""Part of a figure by which a setting may be beyond it and still counts as at it (rounding of numbers)."""

Breach = tuple[str, str]
"""What is said of a value that breaks a constraint: why, and what to do."""


class Constraint(NamedTuple):
    """One condition that a setting, or another figure of an input, must meet.

    key: stable name. near: about where it begins to hold, SI units. holds: whether it does at a value; it
    does above (side low) or below (side high) one and the same value. why: in words, with figures. path: the
    line that it comes from. relax: (value that the other side allows) -> what would have to change here to
    allow it too. rule: the rule that tells a written value that breaks it; empty: none. breach: (such a
    value) -> what that rule says of it. bracket: a closed form that a rehearsal settles. yields: it bounds
    nothing where that would leave nothing, as what it keeps off is assumed and soon over.
    """

    key: str
    side: Side
    near: float
    holds: Callable[[float], bool]
    why: str
    path: Path
    relax: Callable[[float], str] = lambda value: ""
    rule: str = ""
    breach: Callable[[float], Breach] = lambda value: ("", "")
    bracket: bool = False
    yields: bool = False

    def beyond(self, value: float) -> float:
        """How far a value lies on the wrong side, about."""
        return value - self.near if self.side == "high" else self.near - value


Facts = Iterator[Constraint | Unknown]


def constraints_in(facts: Iterable[Constraint | Unknown]) -> list[Constraint]:
    """The constraints among facts."""
    return [fact for fact in facts if isinstance(fact, Constraint)]


def broken(facts: Iterable[Constraint | Unknown], value: float) -> Constraint | None:
    """Of the constraints that a rule tells, the one that a value breaks by most; None: it breaks none."""
    beyond = [each for each in constraints_in(facts) if each.rule and not each.holds(value)]
    return max(beyond, key=lambda each: each.beyond(value), default=None)


# Many: a constraint has them.
def threshold(
    key: str,
    side: Side,
    value: float,
    why: str,
    path: Path,
    relax: Callable[[float], str] = lambda value: "",
    rule: str = "",
    breach: Callable[[float], Breach] = lambda value: ("", ""),
) -> Constraint:
    """The constraint that a setting stays at or above (side low), or at or below (side high), one figure."""

    margin = EXACT * abs(value)

    def holds(setting: float) -> bool:
        return setting >= value - margin if side == "low" else setting <= value + margin

    return Constraint(key, side, value, holds, why, path, relax, rule, breach)


class Range(NamedTuple):
    """What the outputs of a group can be set to, as values of the input.

    what: for people, such as 'OVP'. unit: SI. portions: of the input's value, for each output. own: range of
    an output; None: it is not given. key: of the figure in the bench document. rule: that judges a written
    value. zero: whether a lower end at zero is told too.
    """

    group: Group
    what: str
    unit: str
    portions: Sequence[float]
    own: Callable[[Output], Interval | None]
    key: tuple[str, ...]
    rule: str
    zero: bool = False

    @property
    def reaches(self) -> dict[OutputName, tuple[Interval, float]]:
        """Output -> its own range, where it is given, and its portion."""
        each = zip(self.group.outputs.items(), self.portions, strict=True)
        return {
            name: (reach, part) for (name, output), part in each if (reach := self.own(output)) is not None
        }

    @property
    def low(self) -> float:
        return max((reach.low / part for reach, part in self.reaches.values()), default=0.0)

    @property
    def high(self) -> float:
        return min((reach.high / part for reach, part in self.reaches.values()), default=math.inf)

    def ends(self) -> Iterator[Constraint]:
        """Its two ends: every output is set within its own range."""
        reaches, low, high, unit = self.reaches, self.low, self.high, self.unit
        path = (*self.group.at_output, *self.key)

        def breach(value: float) -> Breach:
            beyond = {
                name: max(reach.low - value * part, value * part - reach.high)
                for name, (reach, part) in reaches.items()
            }
            name = max(beyond, key=lambda each: beyond[each])
            reach, part = reaches[name]
            return (
                state(
                    "{set_point} on {output}, whose {what} ranges from {range_low} to {range_high}",
                    set_point=(value * part, unit),
                    output=name,
                    what=self.what,
                    range_low=(reach.low, unit),
                    range_high=(reach.high, unit),
                ),
                "set it inside the range, or take another output",
            )

        what = f"an output whose {self.what}"
        if low > 0.0 or self.zero:
            why = state("the output's {what} begins at {range_low}", what=self.what, range_low=(low, unit))
            yield threshold(
                "range",
                "low",
                low,
                why,
                path,
                lambda other: f"{what} begins at {show(max(0.0, other), unit)}",
                self.rule,
                breach,
            )
        if high < math.inf:
            why = state("the output's {what} reaches {range_high}", what=self.what, range_high=(high, unit))
            yield threshold(
                "range",
                "high",
                high,
                why,
                path,
                lambda other: "" if math.isinf(other) else f"{what} reaches {show(other, unit)}",
                self.rule,
                breach,
            )
