"""What a proof says, line by line, and how its figures are judged. Pure: nothing is asked here.

Each figure is compared with others of the same thing, each with the bound that its data sheet gives. Where
one of three differs from both others, and these agree, that one is named.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from railwright.documents.bench import CurrentAccuracy, VoltageAccuracy
from railwright.quantities import show

NOISE = 4.0
"""How many times its r.m.s. noise a mean of readings may be off by, over the root of their number."""


@dataclass(frozen=True, slots=True)
class ProvedFigure:
    """A value [SI] and the bound of its error; None: no document gives it. of: what it is, for people."""

    of: str
    value: float
    bound: float | None


@dataclass(frozen=True, slots=True)
class ProofLine:
    """One thing that was proved, or not.

    what: what it is about. at: where it was looked at. figures: what was set and read. low, high: between
    which the judged figure may lie, in its unit. seen: what came, in words. passed: None where nothing could
    be judged, and `why` says why; else `why` names what was found, '' where nothing was.
    """

    what: str
    at: str
    unit: str = ""
    figures: tuple[ProvedFigure, ...] = ()
    low: float = -math.inf
    high: float = math.inf
    passed: bool | None = True
    why: str = ""
    seen: str = ""


def bound_of(
    accuracy: VoltageAccuracy | CurrentAccuracy | None, value: float, count: int = 1
) -> float | None:
    """The bound of the error of a set value, or of a mean of so many readings [SI]; None: unknown."""
    if accuracy is None:
        return None
    noise = NOISE * (accuracy.noise or 0.0) / math.sqrt(count)
    return accuracy.of_value * abs(value) + accuracy.offset + (accuracy.resolution or 0.0) + noise


def apart(one: ProvedFigure, other: ProvedFigure) -> float | None:
    """By how much two figures of one thing differ beyond both bounds; 0 or less: they agree. None: a bound is
    unknown.
    """
    if one.bound is None or other.bound is None:
        return None
    return abs(one.value - other.value) - one.bound - other.bound


def odd_ones(figures: Sequence[ProvedFigure]) -> list[ProvedFigure]:
    """Those that disagree: one alone where the others agree with each other; else all that disagree."""
    pairs = [(one, other) for one, other in combinations(figures, 2) if (apart(one, other) or 0.0) > 0.0]
    if not pairs:
        return []
    in_all = [each for each in figures if all(each in pair for pair in pairs)]
    if len(in_all) == 1:
        return in_all
    return [each for each in figures if any(each in pair for pair in pairs)]


def compared(what: str, at: str, unit: str, figures: Sequence[ProvedFigure]) -> ProofLine:
    """Figures of one thing against each other."""
    unknown = [each.of for each in figures if each.bound is None]
    known = [each for each in figures if each.bound is not None]
    if len(known) < 2:
        why = f"the accuracy of {' and '.join(unknown)} is not given"
        return ProofLine(what, at, unit, tuple(figures), passed=None, why=why)
    odd = odd_ones(known)
    if not odd:
        return ProofLine(what, at, unit, tuple(figures))
    others = [each for each in known if each not in odd]
    if len(odd) == 1 and len(others) >= 2:
        (one,) = odd
        middle = sum(each.value for each in others) / len(others)
        off = show(abs(one.value - middle), unit)
        agree = " and ".join(each.of for each in others)
        why = f"{one.of} is off by {off}: {agree} agree with each other"
    else:
        why = f"{' and '.join(each.of for each in odd)} differ by more than both may be off"
    return ProofLine(what, at, unit, tuple(figures), passed=False, why=why)


# Many: a figure, the ends between which it lies, and what it is called.
def within(
    what: str, at: str, unit: str, figure: ProvedFigure, low: float, high: float, names: Mapping[str, str]
) -> ProofLine:
    """A figure that lies between two ends, by its bound. names: 'above' and 'below': what it is then; an end
    that is not known is infinite.
    """
    if figure.bound is None:
        why = f"the accuracy of {figure.of} is not given"
        return ProofLine(what, at, unit, (figure,), low, high, None, why)
    if math.isinf(low) and math.isinf(high):
        return ProofLine(what, at, unit, (figure,), low, high, None, names.get("unknown", "nothing says"))
    why = ""
    if figure.value - figure.bound > high:
        more = show(figure.value - high, unit)
        why = names["above"].format(more=more, value=show(figure.value, unit), end=show(high, unit))
    elif figure.value + figure.bound < low:
        more = show(low - figure.value, unit)
        why = names["below"].format(more=more, value=show(figure.value, unit), end=show(low, unit))
    return ProofLine(what, at, unit, (figure,), low, high, not why, why)
