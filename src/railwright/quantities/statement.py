"""A sentence for people that keeps its figures, so that nobody has to read them back out of it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from railwright.quantities.printing import show


@dataclass(frozen=True, slots=True)
class StatedFigure:
    """A figure of a sentence: what it is called, its value, and its SI unit ('1': a ratio, '': a number)."""

    name: str
    value: float
    unit: str


class Statement(str):
    """A sentence, and the figures in it in the order in which it was given them."""

    __slots__ = ("figures",)

    figures: tuple[StatedFigure, ...]

    def __new__(cls, text: str, figures: Iterable[StatedFigure] = ()) -> Statement:
        made = super().__new__(cls, text)
        made.figures = tuple(figures)
        return made


Part = tuple[float, str] | float | str
"""What a template names: a figure with its unit, a number, or a text (a statement brings its figures)."""


def state(template: str, **parts: Part) -> Statement:
    """A sentence of a template: `state("{set} is more than {most}", set=(18.0, "V"), most=(16.0, "V"))`.

    A figure of a statement within it keeps its name, or gets the name of its part in front where another has
    it already. KeyError where the template names a part that is not given.
    """
    figures: dict[str, StatedFigure] = {}
    for name, part in parts.items():
        for figure in _figures(name, part):
            free = figure.name if figure.name not in figures else f"{name}_{figure.name}"
            figures[free] = StatedFigure(free, figure.value, figure.unit)
    shown = {name: _shown(part) for name, part in parts.items()}
    return Statement(template.format(**shown), figures.values())


def listed(name: str, values: Iterable[float], unit: str) -> Statement:
    """Figures of one kind with commas between, what is printed alike once; their names are numbered."""
    shown: dict[str, float] = {}
    for value in values:
        shown.setdefault(show(value, unit), value)
    figures = (
        StatedFigure(f"{name}_{number}", value, unit) for number, value in enumerate(shown.values(), start=1)
    )
    return Statement(", ".join(shown), figures)


def figures_of(text: str) -> tuple[StatedFigure, ...]:
    """The figures of a sentence; none of one that keeps none."""
    return text.figures if isinstance(text, Statement) else ()


def _figures(name: str, part: Part) -> tuple[StatedFigure, ...]:
    if isinstance(part, str):
        return figures_of(part)
    value, unit = part if isinstance(part, tuple) else (part, "")
    return (StatedFigure(name, value, unit),)


def _shown(part: Part) -> str:
    return show(*part) if isinstance(part, tuple) else str(part)
