"""MIL-STD-704F: normal transients of 28 V d.c. aircraft power. Figures: figures.yaml, from memory."""

from __future__ import annotations

from railwright.waveforms.shapes import Hold, Jump, Line, Piece
from railwright.waveforms.standards.figures import StandardFigures
from railwright.waveforms.standards.kinds import Choice, Test, no_such_level, nominal_voltage


def normal_transient(figures: StandardFigures, choice: Choice) -> tuple[Piece, ...]:
    """Along the limit of normal transients: to its peak, held, and in a line to the steady-state limit."""
    names = {"over": ("over-voltage", "highest"), "under": ("under-voltage", "lowest")}
    if choice.level not in names:
        raise no_such_level("over or under", choice)
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
        system=nominal_voltage,
    ),
)
