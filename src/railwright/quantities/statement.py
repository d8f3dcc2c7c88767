"""A sentence for people that keeps its figures, so that nobody has to read them back out of it."""

from __future__ import annotations

from collections.abc import Container, Iterable
from typing import NamedTuple

from railwright.quantities.printing import show


class StatedFigure(NamedTuple):
    """A figure of a sentence: what it is called, its value, and its SI unit ('1': a ratio, '': a number)."""

    name: str
    value: float
    unit: str


class Statement(str):
    """A sentence, and the figures in it in the order in which it was given them.

    form: the sentence with the names of its parts in the place of figures and texts: what two sentences have
    in common that say the same of other things. texts: what stands there for each text, by its name.
    """

    __slots__ = ("figures", "form", "texts")

    figures: tuple[StatedFigure, ...]
    form: str
    texts: tuple[tuple[str, str], ...]

    def __new__(
        cls,
        text: str,
        figures: Iterable[StatedFigure] = (),
        form: str | None = None,
        texts: Iterable[tuple[str, str]] = (),
    ) -> Statement:
        made = super().__new__(cls, text)
        made.figures, made.form, made.texts = tuple(figures), text if form is None else form, tuple(texts)
        return made


Stated = tuple[float, str] | tuple[float, str, int] | float | str
"""What a template names: a figure with its unit, and with its significant digits where they are not four; a
number; or a text (a statement brings its figures).
"""


def state(template: str, **parts: Stated) -> Statement:
    """A sentence of a template: `state("{set} is more than {most}", set=(18.0, "V"), most=(16.0, "V"))`.

    `{at:.3g} V` and `{room:.1%}` print the bare number so. A figure of a statement within it keeps its name,
    or gets the name of its part in front where another has it already. KeyError where the template names a
    part that is not given.
    """
    figures: dict[str, StatedFigure] = {}
    for name, part in parts.items():
        for figure in _figures(name, part):
            free = figure.name if figure.name not in figures else _free(f"{name}_{figure.name}", figures)
            figures[free] = StatedFigure(free, figure.value, figure.unit)
    shown = {name: _Shown(part) for name, part in parts.items()}
    forms = {name: _Form(name, part) for name, part in parts.items()}
    texts = [each for name, part in parts.items() if isinstance(part, str) for each in _texts(name, part)]
    return Statement(template.format(**shown), figures.values(), template.format(**forms), texts)


def joined(separator: str, texts: Iterable[str]) -> Statement:
    """Texts with a separator between, and the figures of those that keep some; a name that comes again gets a
    number behind: 'limit', 'limit_2'.
    """
    said = list(texts)
    figures: dict[str, StatedFigure] = {}
    for figure in (figure for text in said for figure in figures_of(text)):
        name = _free(figure.name, figures)
        figures[name] = StatedFigure(name, figure.value, figure.unit)
    form = separator.join(map(form_of, said))
    within = [each for text in said for each in texts_of(text)]
    return Statement(separator.join(said), figures.values(), form, within)


def named(name: str, value: float, unit: str) -> Statement:
    """One figure by itself, under a name that is put together."""
    return Statement(show(value, unit), (StatedFigure(name, value, unit),), f"{{{name}}}")


def listed(name: str, values: Iterable[float], unit: str) -> Statement:
    """Figures of one kind with commas between, what is printed alike once; their names are numbered."""
    shown: dict[str, float] = {}
    for value in values:
        shown.setdefault(show(value, unit), value)
    figures = (
        StatedFigure(f"{name}_{number}", value, unit) for number, value in enumerate(shown.values(), start=1)
    )
    return Statement(", ".join(shown), figures, f"{{{name}}}")


def figures_of(text: str) -> tuple[StatedFigure, ...]:
    """The figures of a sentence; none of one that keeps none."""
    return text.figures if isinstance(text, Statement) else ()


def form_of(text: str) -> str:
    """The form of a sentence; one that keeps none is its own."""
    return text.form if isinstance(text, Statement) else text


def texts_of(text: str) -> tuple[tuple[str, str], ...]:
    """The texts in a sentence, each with its name; none of one that keeps none."""
    return text.texts if isinstance(text, Statement) else ()


def _texts(name: str, part: str) -> tuple[tuple[str, str], ...]:
    if isinstance(part, Statement):
        return part.texts
    return ((name, part),) if part else ()


def _figures(name: str, part: Stated) -> tuple[StatedFigure, ...]:
    if isinstance(part, str):
        return figures_of(part)
    value, unit = part[:2] if isinstance(part, tuple) else (part, "")
    return (StatedFigure(name, value, unit),)


def _free(name: str, used: Container[str]) -> str:
    """A name, with the first number behind it that makes it one which is not used."""
    free, number = name, 1
    while free in used:
        number += 1
        free = f"{name}_{number}"
    return free


class _Shown:
    """A part as a template prints it: by a format of its own, or with its unit."""

    def __init__(self, part: Stated) -> None:
        self._part = part

    def __format__(self, spec: str) -> str:
        if not isinstance(self._part, tuple):
            return format(self._part, spec)
        return format(self._part[0], spec) if spec else show(*self._part)


class _Form:
    """A part as the form of a sentence has it: its name, the form of a sentence within, or nothing at all."""

    def __init__(self, name: str, part: Stated) -> None:
        self._form = f"{{{name}}}"
        if isinstance(part, Statement) or part == "":
            self._form = form_of(part)

    def __format__(self, spec: str) -> str:
        return self._form
