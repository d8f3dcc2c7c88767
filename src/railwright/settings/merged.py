"""Findings that say the same of other figures, seen as one: how many, between which figures, and the worst.

A view for people. What was found stays as it is; JSON has every finding.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from railwright.grouping import grouped
from railwright.quantities import form_of, texts_of
from railwright.settings.findings import Finding, Ranking


class FigureRange(NamedTuple):
    """From where to where a figure goes, in SI; `unit` as `StatedFigure` has it."""

    name: str
    unit: str
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class MergedFindings:
    """Findings of one rule in their order, one at least. ranked: their figures tell which is the worst; else
    `worst` is the first.
    """

    findings: tuple[Finding, ...]
    worst: Finding
    ranked: bool

    @property
    def count(self) -> int:
        """How many they are."""
        return len(self.findings)

    @property
    def others(self) -> tuple[Finding, ...]:
        """All but the worst."""
        return tuple(each for each in self.findings if each is not self.worst)

    @property
    def about(self) -> tuple[str, ...]:
        """What they are about, each once."""
        return tuple(dict.fromkeys(each.about for each in self.findings))

    @property
    def ranges(self) -> tuple[FigureRange, ...]:
        """Figures that all of them have and that differ, in the order of the sentence."""
        each_once = [{figure.name: figure for figure in each.figures}.values() for each in self.findings]
        values = grouped(((one.name, one.unit), one.value) for figures in each_once for one in figures)
        return tuple(
            FigureRange(name, unit, min(own), max(own))
            for (name, unit), own in values.items()
            if len(own) == self.count and min(own) < max(own)
        )

    @property
    def texts(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """Texts in their sentences that differ, by their names; each once, in their order."""
        said = [grouped(texts_of(each.why)) for each in self.findings]
        found = grouped((name, text) for own in said for name, texts in own.items() for text in texts)
        return tuple(
            (name, tuple(dict.fromkeys(texts)))
            for name, texts in found.items()
            if len({tuple(own[name]) for own in said if name in own}) > 1
        )


def merge(
    findings: Iterable[Finding], rankings: Mapping[str, Ranking | None], *, whatever_why: bool = False
) -> tuple[MergedFindings, ...]:
    """Findings that differ only in figures, names, place and remedy as one, in the order of the first; those
    that are accepted apart from the others.

    rankings: by the id of the rule. whatever_why: all findings of a rule as one, whatever their sentences.
    """
    groups = grouped(
        (
            (each.rule, each.severity, each.overridden or "", "" if whatever_why else form_of(each.why)),
            each,
        )
        for each in findings
    )
    return tuple(_of(group, rankings) for group in groups.values())


def _of(group: list[Finding], rankings: Mapping[str, Ranking | None]) -> MergedFindings:
    ranking = rankings.get(group[0].rule)
    ranks = [None if ranking is None else ranking.rank(each) for each in group]
    known = [rank for rank in ranks if rank is not None]
    worst = group[ranks.index(max(known))] if known else group[0]
    # One that lacks the figure cannot be compared; then no one is called the worst.
    return MergedFindings(tuple(group), worst, ranked=len(known) == len(group))
