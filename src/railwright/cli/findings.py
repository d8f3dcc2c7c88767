"""Findings and settings as commands print them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING

from railwright.cli.assumptions import ASSUMED
from railwright.cli.console import SEVERITY_MARKS, table
from railwright.quantities import show
from railwright.settings.findings import Finding, Reason

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
    """Severity, about what, and below each other: rule, reason, remedy, place."""
    return table("Findings", ("Severity", "About", "Finding"), [_finding_row(f) for f in findings])


def _finding_row(finding: Finding) -> tuple[str, str, str]:
    lines = [f"{finding.rule}: {finding.why}", f"→ {finding.remedy}"]
    if finding.overridden is not None:
        lines.append(f"accepted in the procedure, because: {finding.overridden}")
    if finding.where is not None:
        lines.append(f"  {finding.where}")
    return SEVERITY_MARKS[finding.severity], finding.about, "\n".join(lines)


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
    columns = ("Requirement", "By readings", "Expected", "± U", "To the limit", "What would do")
    rows = [_measurable_row(each) for each in measurable]
    return table("Can it be measured?", columns, rows, right=columns[2:5])


def _measurable_row(each: Measurable) -> tuple[str, ...]:
    def known(value: float | None, digits: int, otherwise: str) -> str:
        if value is None:
            return otherwise
        return f"{value:g}" if each.unit == "1" else show(value, each.unit, digits)

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
    counts = Counter(finding.severity.value for finding in findings if finding.rule != ASSUMED)
    parts = [
        f"{counts[word]} {word}{'' if counts[word] == 1 else 's'}" for word in ("stop", "caution", "note")
    ]
    blocking = sum(finding.blocks for finding in findings)
    accepted = counts["stop"] - blocking
    tail = f" ({accepted} accepted in the procedure)" if accepted else ""
    return ", ".join(parts) + tail
