"""A fixture as the wiring drawing shows it: its parts, and their figures in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from railwright.quantities import show

if TYPE_CHECKING:
    from railwright.documents.fixture import Fixture


@dataclass(frozen=True, slots=True)
class FixtureBox:
    """What stands between a lead and an input as drawn: its name, its parts in order, their figures.

    opened: its switch is drawn open.
    """

    name: str
    parts: tuple[str, ...]
    figures: tuple[str, ...]
    opened: bool

    @property
    def words(self) -> str:
        """Its figures in a sentence."""
        return ", ".join(self.figures)

    @property
    def lines(self) -> tuple[str, ...]:
        """Its figures on one line, or on two where they are many."""
        if len(self.figures) <= 2:
            return (self.words,)
        half = (len(self.figures) + 1) // 2
        return (", ".join(self.figures[:half]) + ",", ", ".join(self.figures[half:]))


def fixture_box(name: str | None, fixture: Fixture | None) -> FixtureBox | None:
    """The box of a hook-up's fixture; None where it has none."""
    if name is None or fixture is None:
        return None
    figures = []
    if fixture.fuse:
        figures.append(f"fuse {show(fixture.fuse.curve[0].current, 'A')}")
    if fixture.switch:
        figures.append(f"switch {fixture.switch.starts}")
    if fixture.diode:
        figures.append(f"diode {show(fixture.diode.drop.nominal, 'V')}")
    if fixture.capacitor:
        figures.append(show(fixture.capacitor.capacitance.nominal, "F"))
    return FixtureBox(name, fixture.parts, tuple(figures), fixture.opened)
