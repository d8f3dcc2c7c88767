"""Findings and reasons: what the check has to say, and why a number is what it is."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from railwright.documents.sources import Location
from railwright.quantities import StatedFigure, figures_of


class Severity(StrEnum):
    """stop: must not be energised. caution: look before you go on. note: good to know."""

    STOP = "stop"
    CAUTION = "caution"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing the check has to say.

    rule: stable id. about: the input, output or instrument. where: the line of the document. why: the reason
    in numbers. remedy: what to do. overridden: the reason given in the procedure, where a stop is accepted.
    figures: those of the reason, in SI; where it is a statement it brings them itself.
    """

    rule: str
    severity: Severity
    about: str
    where: Location | None
    why: str
    remedy: str
    overridden: str | None = None
    figures: tuple[StatedFigure, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "figures", self.figures or figures_of(self.why))

    @property
    def blocks(self) -> bool:
        return self.severity is Severity.STOP and self.overridden is None


ASSUMED = "assumed"
"""Rule of what was assumed: it is shown by itself, and is not counted among the notes."""


def tally(findings: Iterable[Finding]) -> str:
    """How many of each severity, beside what was assumed: '0 stops, 2 cautions, 5 notes'."""
    severities = [finding.severity for finding in findings if finding.rule != ASSUMED]
    counts = ((each.value, severities.count(each)) for each in Severity)
    return ", ".join(f"{count} {word}{'' if count == 1 else 's'}" for word, count in counts)


class Ranking(NamedTuple):
    """Which of several findings of a rule is the worst: where a figure, or its ratio to another one, is the
    highest, or the lowest. Both by the names that the sentence has for them; their signs do not count.
    """

    figure: str
    over: str | None = None
    lowest: bool = False

    def rank(self, finding: Finding) -> float | None:
        """The higher, the worse; None where the finding does not tell the figures."""
        values = {figure.name: abs(figure.value) for figure in finding.figures}
        value, over = values.get(self.figure), 1.0 if self.over is None else values.get(self.over)
        if value is None or over is None or math.isnan(value) or math.isnan(over):
            return None
        ratio = value / over if over else math.inf
        return -ratio if self.lowest else ratio


@dataclass(frozen=True, slots=True)
class Reason:
    """Why one setting has its value: `value` in SI with its `unit`, or in words with none; where it was
    decided, and the reason in words. figures: as `Finding` has them.
    """

    about: str
    setting: str
    value: float | str
    unit: str
    where: Location | None
    why: str
    figures: tuple[StatedFigure, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "figures", self.figures or figures_of(self.why))
