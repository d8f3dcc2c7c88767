"""EN 50155:2017: supply of electronic equipment on rolling stock. All figures stand in figures.yaml, from
memory. S1 (no interruption) plays nothing and is no choice.
"""

from __future__ import annotations

from functools import partial

from railwright.waveforms.shapes import Piece
from railwright.waveforms.standards.figures import StandardFigures
from railwright.waveforms.standards.kinds import (
    Choice,
    NoSuchChoice,
    Test,
    chosen_ratio,
    interrupted,
    named_interruption,
    no_such_level,
    there_and_back,
)


def variation(figures: StandardFigures, choice: Choice) -> tuple[Piece, ...]:
    """To the lowest or highest continuous voltage for the duration that is chosen."""
    ratio = chosen_ratio(figures, "variation levels", choice)
    if choice.duration is None:
        message = "expected a 'duration' beside 'standard', got none; add one, any time such as 10 s"
        raise NoSuchChoice(message, "standard")
    return there_and_back(choice, ratio, choice.duration)


def _temporary(name: str, figures: StandardFigures, choice: Choice) -> tuple[Piece, ...]:
    """To a part of U for a time."""
    return there_and_back(choice, figures.value(name, "1"), figures.value(f"{name} duration", "s"))


def change_over(figures: StandardFigures, choice: Choice) -> tuple[Piece, ...]:
    """Class C1: 0.6 U for 100 ms. Class C2: an interruption of 30 ms."""
    if choice.level == "C1":
        ratio, duration = figures.value("change-over C1 level", "1"), "change-over C1 duration"
        return there_and_back(choice, ratio, figures.value(duration, "s"))
    if choice.level == "C2":
        return interrupted(choice, figures.value("change-over C2 duration", "s"))
    raise no_such_level("C1 or C2", choice)


TESTS = (
    Test(
        "EN 50155 variation",
        "EN 50155",
        "lowest or highest continuous voltage",
        ("level", "duration"),
        variation,
        ("variation levels",),
        levels="variation levels",
    ),
    Test(
        "EN 50155 temporary dip",
        "EN 50155",
        "0.6 U for 100 ms",
        (),
        partial(_temporary, "temporary dip"),
        ("temporary dip", "temporary dip duration"),
    ),
    Test(
        "EN 50155 temporary rise",
        "EN 50155",
        "1.4 U for 1 s",
        (),
        partial(_temporary, "temporary rise"),
        ("temporary rise", "temporary rise duration"),
    ),
    Test(
        "EN 50155 interruption",
        "EN 50155",
        "class S2 or S3",
        ("level", "impedance"),
        named_interruption,
        ("interruption S2", "interruption S3"),
    ),
    Test(
        "EN 50155 change-over",
        "EN 50155",
        "class C1 or C2",
        ("level", "impedance"),
        change_over,
        ("change-over C1 level", "change-over C1 duration", "change-over C2 duration"),
    ),
)
