"""Which requirement is drawn where: on the voltage or the current panel, as an instant, or not at all."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from railwright.documents.procedure import Requirement
from railwright.report.figures import show_limit
from railwright.report.text import shortened

Panel = Literal["voltage", "current", "time"]


@dataclass(frozen=True, slots=True)
class Limit:
    """A requirement's limits as drawn: `panel` 'time' counts from the input's switching on [s].

    turns: they hold only where the current falls or rises, and say nothing of the voltage before and after.
    at: that instant [s from the step's start]; None: they hold through the step.
    """

    input: str
    panel: Panel
    lower: float | None
    upper: float | None
    label: str
    turns: Literal["fall", "rise"] | None = None
    at: float | None = None


def limits_of(requirements: Iterable[Requirement], step: str) -> tuple[tuple[Limit, ...], tuple[str, ...]]:
    """Limits to draw for a step, and in words what cannot be drawn."""
    drawn, words = [], []
    for requirement in requirements:
        if requirement.during != step:
            continue
        lower, upper = requirement.limits
        text = f"{shortened(requirement.name, 40)}: {show_limit(lower, upper, requirement.unit)}"
        measure = requirement.known
        panel: Panel | None = "time" if measure.after_switching_on else measure.level_of
        if panel is None:
            # Charge, energy, power and counts are neither a level nor an instant.
            words.append(text)
        else:
            drawn.append(Limit(requirement.of, panel, lower, upper, text, measure.turns))
    return tuple(drawn), tuple(words)
