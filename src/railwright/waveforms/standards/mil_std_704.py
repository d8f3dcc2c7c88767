"""MIL-STD-704F: normal transients of 28 V d.c. aircraft power. Figures: figures.yaml, from memory."""

from __future__ import annotations

from railwright.waveforms.shapes import Hold, Jump, Line, Piece
from railwright.waveforms.standards.figures import StandardFigures
from railwright.waveforms.standards.kinds import Choice, NoSuchChoice, Test


def system(figures: StandardFigures, choice: Choice) -> float:
    """Nominal voltage of the aircraft's system [V]."""
    return figures.value("nominal voltage", "V")


def normal_transient(figures: StandardFigures, choice: Choice) -> tuple[Piece, ...]:
    """Along the limit of normal transients: to its peak, held, and in a line to the steady-state limit."""
    names = {"over": ("over-voltage", "highest"), "under": ("under-voltage", "lowest")}
    if choice.level not in names:
        got = "none" if choice.level is None else f"'{choice.level}'"
        at = "standard" if choice.level is None else "level"
        raise NoSuchChoice(f"expected a 'level' of over or under beside 'standard', got {got}", at)
    kind, steady = names[choice.level]
    hold = figures.value(f"{kind} hold", "s")
    back = Line(figures.value(f"{steady} steady state", "V"), figures.value(f"{kind} end", "s") - hold)
    peak = Jump(figures.value(f"{kind} peak", "V"))
    return Jump(choice.nominal), peak, Hold(hold), back, Jump(choice.nominal)


TESTS = (
    Test(
        "MIL-STD-704F normal transient",
        "MIL-STD-704",
        "along the limit of the normal transients, over or under",
        ("level",),
        normal_transient,
        ("over-voltage peak", "highest steady state"),
        system=system,
    ),
)
