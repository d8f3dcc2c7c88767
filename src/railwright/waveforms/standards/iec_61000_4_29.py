"""IEC 61000-4-29:2000: voltage dips, short interruptions and voltage variations on d.c. input power ports.

All figures stand in figures.yaml, from memory. The standard asks for three of each at least 10 s apart:
'repeat' and 'pause_between' of the procedure; less is a finding.
"""

from __future__ import annotations

from functools import partial

from railwright.waveforms.shapes import Piece
from railwright.waveforms.standards.figures import StandardFigures
from railwright.waveforms.standards.kinds import (
    Choice,
    NoSuchChoice,
    Permitted,
    Test,
    chosen_duration,
    chosen_ratio,
    interrupted,
    there_and_back,
)


def _to_level(name: str, durations: str, figures: StandardFigures, choice: Choice) -> tuple[Piece, ...]:
    """At once to a part of U, below or above it, and at once back after the duration."""
    level = chosen_ratio(figures, name, choice)
    return there_and_back(choice, level, chosen_duration(figures, durations, choice))


def interruption(figures: StandardFigures, choice: Choice) -> tuple[Piece, ...]:
    """At low impedance the output goes to 0 V and takes in the current that the input gives back; at high
    impedance it is disconnected.
    """
    duration = chosen_duration(figures, "interruption durations", choice)
    if choice.impedance is None:
        raise NoSuchChoice(
            "expected an 'impedance' beside 'standard', got none; add one of low, high", "standard"
        )
    return interrupted(choice, duration)


def permitted(figures: StandardFigures) -> Permitted:
    """Edges, overshoot and level of the test generator, into its verification load."""
    names = ("shortest edge", "longest edge", "overshoot", "level tolerance", "verification load")
    return Permitted(
        figures.cited(*names),
        edge=(figures.value("shortest edge", "s"), figures.value("longest edge", "s")),
        overshoot=figures.value("overshoot", "1"),
        level=figures.value("level tolerance", "1"),
        load=figures.value("verification load", "ohm"),
    )


TESTS = (
    Test(
        "IEC 61000-4-29 dip",
        "IEC 61000-4-29",
        "to a part of the rated voltage and back",
        ("level", "duration"),
        partial(_to_level, "dip levels", "dip durations"),
        ("dip levels", "dip durations"),
        permitted,
        levels="dip levels",
        durations="dip durations",
        repetitions="repetitions",
        interval="interval",
    ),
    Test(
        "IEC 61000-4-29 interruption",
        "IEC 61000-4-29",
        "to 0 V at low impedance, or disconnected at high impedance",
        ("duration", "impedance"),
        interruption,
        ("interruption durations",),
        permitted,
        durations="interruption durations",
        repetitions="repetitions",
        interval="interval",
    ),
    Test(
        "IEC 61000-4-29 variation",
        "IEC 61000-4-29",
        "to a level below or above the rated voltage and back",
        ("level", "duration"),
        partial(_to_level, "variation levels", "variation durations"),
        ("variation levels", "variation durations"),
        permitted,
        levels="variation levels",
        durations="variation durations",
        repetitions="repetitions",
        interval="interval",
    ),
)
