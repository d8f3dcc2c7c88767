"""RTCA DO-160G, section 16: abnormal surges and interruptions at 28 V d.c. inputs, by category. All figures
stand in figures.yaml, from memory.
"""

from __future__ import annotations

from railwright.quantities import parse_value
from railwright.waveforms.shapes import Hold, Jump, Piece
from railwright.waveforms.standards.figures import StandardFigures
from railwright.waveforms.standards.kinds import (
    Choice,
    Test,
    chosen_name,
    named_interruption,
    nominal_voltage,
)


def abnormal_surge(figures: StandardFigures, choice: Choice) -> tuple[Piece, ...]:
    """To the category's first voltage, then to its second, then back."""
    texts = figures.texts("abnormal surge " + chosen_name(figures, "abnormal surge ", choice))
    pieces: list[Piece] = [Jump(choice.nominal)]
    for voltage, duration in zip(texts[::2], texts[1::2], strict=True):
        pieces += [Jump(parse_value(voltage, "V")), Hold(parse_value(duration, "s"))]
    return (*pieces, Jump(choice.nominal))


TESTS = (
    Test(
        "RTCA DO-160G abnormal surge",
        "RTCA DO-160",
        "surge by category A, B or Z",
        ("level",),
        abnormal_surge,
        ("abnormal surge A",),
        system=nominal_voltage,
    ),
    Test(
        "RTCA DO-160G interruption",
        "RTCA DO-160",
        "momentary interruption by category A, B or Z",
        ("level", "impedance"),
        named_interruption,
        ("interruption A",),
    ),
)
