"""Findings and settings as commands print them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from railwright.cli.console import SEVERITY_MARKS, table
from railwright.grouping import grouped
from railwright.quantities import show
from railwright.settings.findings import Finding, Ranking, Reason, Severity, tally
from railwright.settings.merged import FigureRange, MergedFindings, merge
from railwright.settings.rules import known_of

if TYPE_CHECKING:
    from rich.table import Table

    from railwright.settings.measurable import Measurable

HOOK_UP = "hook_up"
"""Setting of the reasons that have a table of their own."""

MEASURABLE_MARKS = {
    "yes": "● yes",
    "marginal": "◐ marginal",
    "no": "◌ no",
    "will fail": "✕ will fail",
    "not needed": "– not needed",
}


def findings_table(findings: Sequence[Finding]) -> Table:
    """Severity, about what, and below each other: rule, reason, remedy, place. Findings that differ only in
    figures and names are one row: how many, between which figures, and the worst.
    """
    rows = [_finding_row(each) for each in merge(findings, rankings(findings))]
    return table("Findings", ("Severity", "About", "Finding"), rows)


def rankings(findings: Iterable[Finding]) -> dict[str, Ranking | None]:
    """Which of several findings of each of these rules is the worst, by its id."""
    return {rule: known.worst for rule, known in known_of(each.rule for each in findings).items()}


def _finding_row(merged: MergedFindings) -> tuple[str, str, str]:
    finding = merged.worst
    lines = [f"{finding.rule}{_which(merged)}: {finding.why}"]
    if between := _between(merged):
        lines.append(f"all {merged.count}: {between}")
    remedies = grouped((each.remedy, each.about) for each in (finding, *merged.others))
    for remedy, about in remedies.items():
        whose = f"{', '.join(dict.fromkeys(about))}: " if len(remedies) > 1 and len(merged.about) > 1 else ""
        lines.append(f"→ {whose}{remedy}")
    if finding.overridden is not None:
        lines.append(f"accepted in the procedure, because: {finding.overridden}")
    places = dict.fromkeys(each.where for each in (finding, *merged.others) if each.where is not None)
    lines += [f"  {place}" for place in places]
    return SEVERITY_MARKS[finding.severity], ", ".join(merged.about), "\n".join(lines)


def _which(merged: MergedFindings) -> str:
    """Of how many findings the sentence of a row is one, and which; nothing of a single one."""
    if merged.count == 1:
        return ""
    if len({each.why for each in merged.findings}) == 1:
        return f" ({merged.count})"
    whose = f" for {merged.worst.about}" if len(merged.about) > 1 else ""
    return f" ({merged.count}, {'the worst' if merged.ranked else 'the first'}{whose})"


def _between(merged: MergedFindings) -> str:
    """In what the findings of one row differ: texts other than what they are about, and from where to where
    figures go; where they are ranked, those by which they are.
    """
    ranking = rankings(merged.findings).get(merged.worst.rule)
    ranked_by = (ranking.figure, ranking.over) if ranking is not None and merged.ranked else None
    said = [
        f"{_words(name)} {', '.join(texts)}" for name, texts in merged.texts if set(texts) != {*merged.about}
    ]
    said += [
        f"{_words(each.name)} {_from_to(each)}"
        for each in merged.ranges
        if ranked_by is None or each.name in ranked_by
    ]
    return "; ".join(said)


def _words(name: str) -> str:
    return name.replace("_", " ")


def _from_to(figures: FigureRange) -> str:
    low, high = (f"{v:g}" if not figures.unit else show(v, figures.unit) for v in (figures.low, figures.high))
    return low if low == high else f"{low} to {high}"


def problems(findings: Sequence[Finding]) -> list[Finding]:
    """Stops and cautions."""
    return [finding for finding in findings if finding.severity != "note"]


def hook_up_table(reasons: Sequence[Reason]) -> Table | None:
    """What was chosen to feed each input, and why beneath it; None where nothing was chosen."""
    rows = [(r.about, f"{r.value}\n{r.why}") for r in reasons if r.setting == HOOK_UP]
    return table("Hook-up", ("Input", "Fed by, and why"), rows) if rows else None


def settings_table(reasons: Sequence[Reason]) -> Table:
    """What to dial in, with the reason for each number."""
    rows = [
        (
            r.about,
            r.setting.replace("_", " "),
            r.value if isinstance(r.value, str) else show(r.value, r.unit),
            r.why,
        )
        for r in reasons
        if r.setting != HOOK_UP
    ]
    return table("Settings", ("Input", "Setting", "Value", "Why"), rows, right=("Value",))


def measurable_table(measurable: Sequence[Measurable]) -> Table:
    """What the supply's readings can decide of each requirement, and what would do where they cannot."""
    columns = ("Requirement", "By readings", "Expected", "± U, at most", "To the limit", "What would do")
    rows = [_measurable_row(each) for each in measurable]
    return table("Can it be measured?", columns, rows, right=columns[2:5])


def _measurable_row(each: Measurable) -> tuple[str, ...]:
    def known(value: float | None, digits: int, otherwise: str) -> str:
        if value is None:
            return otherwise
        # A hundredth of the uncertainty is no digit of the value.
        resolution = 0.01 * (each.uncertainty or 0.0)
        return f"{value:g}" if each.unit == "1" else show(value, each.unit, digits, resolution=resolution)

    lines = [line for line in (each.why, f"→ {each.would}" if each.would else "") if line]
    return (
        each.requirement,
        MEASURABLE_MARKS[each.verdict],
        known(each.expected, 3, "nothing there"),
        known(each.uncertainty, 2, "not seen"),
        known(each.leaves, 3, ""),
        "\n".join(lines),
    )


def summary(findings: Sequence[Finding]) -> str:
    """How many of each severity, and whether they block: '0 stops, 2 cautions, 5 notes'.

    What was assumed is not counted: it stands in a table of its own.
    """
    accepted = sum(finding.severity is Severity.STOP and not finding.blocks for finding in findings)
    return tally(findings) + (f" ({accepted} accepted in the procedure)" if accepted else "")
