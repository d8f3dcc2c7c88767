"""Which requirement is drawn where: on the voltage or the current panel, as an instant, or not at all."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from railwright.documents.procedure import Requirement
from railwright.report.figures import show_limit
from railwright.report.text import shortened

Panel = Literal["voltage", "current", "time"]

PANELS: dict[str, Panel] = {
    "peak_current": "current",
    "mean_current": "current",
    "peak_voltage": "voltage",
    "mean_voltage": "voltage",
    "turn_on_voltage": "voltage",
    "turn_off_voltage": "voltage",
    "high_state_level": "voltage",
    "low_state_level": "voltage",
    "start_up_time": "time",
}
"""Measures whose limits are a level or an instant. Charge, energy, power and counts have no place here."""

TURNING = ("turn_off_voltage", "turn_on_voltage")
"""Measures of one instant: their limits say nothing of the voltage before and after it."""


@dataclass(frozen=True, slots=True)
class Limit:
    """A requirement's limits as drawn: `panel` 'time' counts from the input's switching on [s].

    at: the instant [s from the step's start] at which alone they hold; None: they hold through the step.
    """

    input: str
    panel: Panel
    lower: float | None
    upper: float | None
    label: str
    measure: str = ""
    at: float | None = None


def limits_of(requirements: Iterable[Requirement], step: str) -> tuple[tuple[Limit, ...], tuple[str, ...]]:
    """Limits to draw for a step, and in words what cannot be drawn."""
    drawn, words = [], []
    for requirement in requirements:
        if requirement.during != step:
            continue
        lower, upper = requirement.limits
        text = f"{shortened(requirement.name, 40)}: {show_limit(lower, upper, requirement.unit)}"
        panel = PANELS.get(requirement.measure)
        if panel is None:
            words.append(text)
        else:
            drawn.append(Limit(requirement.of, panel, lower, upper, text, requirement.measure))
    return tuple(drawn), tuple(words)
