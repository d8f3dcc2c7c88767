"""EN 50155:2017: supply of electronic equipment on rolling stock. All figures stand in figures.yaml, from
memory. S1 (no interruption) plays nothing and is no choice.
"""

from __future__ import annotations

from railwright.waveforms.shapes import Piece
from railwright.waveforms.standards.figures import StandardFigures
from railwright.waveforms.standards.kinds import (
    Choice,
    NoSuchChoice,
    Test,
    chosen_name,
    chosen_ratio,
    interrupted,
    there_and_back,
)


def variation(figures: StandardFigures, choice: Choice) -> tuple[Piece, ...]:
    """To the lowest or highest continuous voltage for the duration that is chosen."""
    ratio = chosen_ratio(figures, "variation levels", choice)
    if choice.duration is None:
        message = "expected a 'duration' beside 'standard', got none; add one, any time such as 10 s"
        raise NoSuchChoice(message, "standard")
    return there_and_back(choice, ratio, choice.duration)


def temporary_dip(figures: StandardFigures, choice: Choice) -> tuple[Piece, ...]:
    """To 0.6 U for 100 ms."""
    return there_and_back(
        choice, figures.value("temporary dip", "1"), figures.value("temporary dip duration", "s")
    )


def temporary_rise(figures: StandardFigures, choice: Choice) -> tuple[Piece, ...]:
    """To 1.4 U for 1 s."""
    return there_and_back(
        choice, figures.value("temporary rise", "1"), figures.value("temporary rise duration", "s")
    )


def interruption(figures: StandardFigures, choice: Choice) -> tuple[Piece, ...]:
    """Class S2 or S3: disconnected (or, impedance: low, at 0 V) for its time."""
    name = chosen_name(figures, "interruption ", choice)
    return interrupted(choice, figures.value(f"interruption {name}", "s"))


def change_over(figures: StandardFigures, choice: Choice) -> tuple[Piece, ...]:
    """Class C1: 0.6 U for 100 ms. Class C2: an interruption of 30 ms."""
    if choice.level == "C1":
        ratio, duration = figures.value("change-over C1 level", "1"), "change-over C1 duration"
        return there_and_back(choice, ratio, figures.value(duration, "s"))
    if choice.level == "C2":
        return interrupted(choice, figures.value("change-over C2 duration", "s"))
    got, at = ("none", "standard") if choice.level is None else (f"'{choice.level}'", "level")
    raise NoSuchChoice(f"expected a 'level' of C1 or C2 beside 'standard', got {got}", at)


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
        temporary_dip,
        ("temporary dip", "temporary dip duration"),
    ),
    Test(
        "EN 50155 temporary rise",
        "EN 50155",
        "1.4 U for 1 s",
        (),
        temporary_rise,
        ("temporary rise", "temporary rise duration"),
    ),
    Test(
        "EN 50155 interruption",
        "EN 50155",
        "class S2 or S3",
        ("level", "impedance"),
        interruption,
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
