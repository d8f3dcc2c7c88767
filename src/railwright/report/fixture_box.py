"""A fixture as the wiring drawing shows it: its parts, and their figures in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from railwright.quantities import show

if TYPE_CHECKING:
    from railwright.documents.bench import Bench
    from railwright.documents.inside import Inside


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


def inside_words(inside: Inside | None) -> tuple[str, ...]:
    """What lies inside an input between connector and load, part by part; nothing where nothing does."""
    if inside is None:
        return ()
    figures = []
    if inside.fuse:
        figures.append(f"fuse {show(inside.fuse.curve[0].current, 'A')}")
    if inside.diode:
        figures.append(f"diode {show(inside.diode.drop.nominal, 'V')}")
    if inside.choke:
        figures.append(f"choke {show(inside.choke.inductance.nominal, 'H')}")
    if inside.capacitor:
        figures.append(show(inside.capacitor.capacitance.nominal, "F"))
    return tuple(figures)


def fixture_box(name: str | None, bench: Bench) -> FixtureBox | None:
    """The box of a hook-up's fixture, by its name; None where it has none. A switch that a relay moves is
    called after its contact.
    """
    fixture = bench.fixture(name)
    if name is None or fixture is None:
        return None
    figures = []
    if fixture.fuse:
        figures.append(f"fuse {show(fixture.fuse.curve[0].current, 'A')}")
    if fixture.switch:
        contact = bench.contact_in(name)
        switch = "switch" if contact is None else f"contact {contact}"
        figures.append(f"{switch} {fixture.switch.starts}")
    if fixture.diode:
        figures.append(f"diode {show(fixture.diode.drop.nominal, 'V')}")
    if fixture.capacitor:
        figures.append(show(fixture.capacitor.capacitance.nominal, "F"))
    return FixtureBox(name, fixture.parts, tuple(figures), fixture.opened)
