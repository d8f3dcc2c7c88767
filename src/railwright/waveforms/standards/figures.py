"""Figures of standards: each with its clause and edition, and whether it was written down from memory."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from railwright.frozen import freeze
from railwright.quantities import parse_value

OPEN = "x"
"""Among a figure's values: the standard leaves others open as well."""


class Figure(NamedTuple):
    """One figure as it is written: texts such as '70 %' or '10 ms', where it stands, and how sure it is."""

    values: tuple[str, ...]
    clause: str
    from_memory: bool


@dataclass(frozen=True)
class StandardFigures:
    """The figures of one standard by name, and its edition."""

    standard: str
    edition: str
    title: str
    figures: Mapping[str, Figure]

    def __post_init__(self) -> None:
        freeze(self, "figures")

    def value(self, name: str, unit: str) -> float:
        """A figure of one value in its SI unit. KeyError: there is none of this name."""
        return parse_value(self.figures[name].values[0], unit)

    def texts(self, name: str) -> tuple[str, ...]:
        """The values of a figure as they are written."""
        return self.figures[name].values

    def names(self, prefix: str) -> tuple[str, ...]:
        """What follows a prefix in the names that begin with it, such as the levels I to IV."""
        return tuple(name[len(prefix) :] for name in self.figures if name.startswith(prefix))

    def cited(self, *names: str) -> str:
        """'IEC 61000-4-29:2000, table 1a, from memory': where some figures stand."""
        used = [self.figures[name] for name in names]
        clauses = ", ".join(dict.fromkeys(figure.clause for figure in used))
        memory = ", from memory" if any(figure.from_memory for figure in used) else ""
        joint = "" if self.edition.isalpha() else ":"
        return f"{self.standard}{joint}{self.edition}, {clauses}{memory}"
