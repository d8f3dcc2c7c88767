"""What `check` says first, on one screen: may it be energised, what is dialled in, what speaks against it.

Every stop is there, and a line for each kind of caution; of the rest, as much as there is room for.
"""

from __future__ import annotations

import os
import shutil
import sys
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from railwright.cli.console import SEVERITY_MARKS, piped_width
from railwright.cli.findings import HOOK_UP, MEASURABLE_MARKS, rankings, summary
from railwright.printable import printable
from railwright.quantities import show
from railwright.settings.findings import ASSUMED, Severity
from railwright.settings.merged import MergedFindings, merge

if TYPE_CHECKING:
    from railwright.plan.set_points import SetPoints
    from railwright.settings.check import Checked
    from railwright.settings.findings import Finding, Reason

LINES = 40
"""Lines where there is no terminal that says how many it has."""

MORE = "…"


class _Part(NamedTuple):
    """Some lines of the summary. keep: they stay; of the others those with the highest `rank` go first."""

    lines: tuple[str, ...]
    rank: int = 0
    keep: bool = False


def print_summary(procedure: Path, checked: Checked, verdict: str, *, whole: bool) -> None:
    """Print as much of it as fits on the screen, or the whole. No line is longer than the screen is wide, but
    commands are not broken, so that they can be copied.
    """
    findings, (width, lines) = checked.settings.findings, _room()
    stops = [each for each in findings if each.severity is Severity.STOP]
    cautions = [each for each in findings if each.severity is Severity.CAUTION]
    kinds = merge(cautions, rankings(cautions), whatever_why=True)
    parts = [
        _Part(tuple(_broken(f"{procedure}: {summary(findings)}. {verdict}", width)), keep=True),
        _Part(_settings(checked, width), 1),
        _Part(tuple(_stops(stops, width)), keep=True),
        _Part(tuple(_cut(_one_line(kind), width) for kind in kinds), keep=True),
        _Part(_notes(findings, width), 2),
        _Part(_measured(checked, width), 3),
        _Part(_assumed(checked, width), 4),
        _Part(
            (f"In full, with windows, reasons and remedies: railwright check {procedure} --all",), keep=True
        ),
        _Part(_faults(procedure, checked), 5),
    ]
    for line in _fitted(parts, None if whole else lines, width):
        # A console of rich would take longer to load than the rest of this screen to print.
        print(line)


def _room() -> tuple[int, int]:
    """Columns and lines that a summary may take, with one line left for what is typed next."""
    size = shutil.get_terminal_size((80, 25))
    lines = size.lines - 1 if sys.stdout.isatty() or "LINES" in os.environ else LINES
    return piped_width(sys.stdout) or size.columns, lines


def _fitted(parts: Sequence[_Part], most: int | None, width: int) -> list[str]:
    from rich.cells import cell_len

    chosen = [part._replace(lines=tuple(map(printable, part.lines))) for part in parts]

    def height() -> int:
        return sum(max(1, -(-cell_len(line) // width)) for part in chosen for line in part.lines)

    while most is not None and height() > most:
        left_out = max((part for part in chosen if not part.keep), key=lambda part: part.rank, default=None)
        if left_out is None:
            break
        chosen.remove(left_out)
    return [line for part in chosen for line in part.lines]


def _stops(stops: Sequence[Finding], width: int) -> list[str]:
    """Every stop: the worst of each kind with its remedy and its place, of the others what and where."""
    lines: list[str] = []
    for merged in merge(stops, rankings(stops)):
        worst = merged.worst
        mark = SEVERITY_MARKS[worst.severity]
        lines += _broken(f"{mark}  {worst.rule}: {worst.about}: {worst.why}", width)
        if worst.overridden is not None:
            lines += _broken(f"   accepted in the procedure, because: {worst.overridden}", width)
        else:
            lines += _broken(f"   → {worst.remedy}", width)
        if worst.where is not None:
            lines += _broken(f"   {worst.where}", width)
        lines += [_cut(f"   so too {each.about}, {each.where}: {each.why}", width) for each in merged.others]
    return lines


def _one_line(kind: MergedFindings) -> str:
    worst = kind.worst
    count = "" if kind.count == 1 else f" ({kind.count}, {'the worst' if kind.ranked else 'the first'})"
    return f"{SEVERITY_MARKS[worst.severity]}  {worst.rule}{count}: {worst.about}: {worst.why}"


def _notes(findings: Sequence[Finding], width: int) -> tuple[str, ...]:
    counts = Counter(
        each.rule for each in findings if each.severity is Severity.NOTE and each.rule != ASSUMED
    )
    if not counts:
        return ()
    kinds = ", ".join(rule if count == 1 else f"{rule} ({count})" for rule, count in counts.items())
    return tuple(_broken(f"{SEVERITY_MARKS[Severity.NOTE]}  {kinds}", width))


def _measured(checked: Checked, width: int) -> tuple[str, ...]:
    if not checked.measurable:
        return ()
    counts = Counter(each.verdict for each in checked.measurable)
    meters = ", ".join(f"'{name}'" for name in checked.documents.procedure.multimeters)
    by = f"the supplies' readings{f' and {meters}' if meters else ''}"
    lines = [f"Requirements, by {by}: {counts['yes']} of {counts.total()} can be decided"]
    for verdict in ("will fail", "no", "marginal"):
        names = [each.requirement for each in checked.measurable if each.verdict == verdict]
        if names:
            lines.append(f"   {MEASURABLE_MARKS[verdict]}: {', '.join(names)}")
    return tuple(_cut(line, width) for line in lines)


def _assumed(checked: Checked, width: int) -> tuple[str, ...]:
    made = () if checked.rehearsal is None else checked.rehearsal.assumptions
    count = len({each.text for each in made})
    if not count:
        return ()
    what = (
        "figure is assumed, which no document gives"
        if count == 1
        else "figures are assumed, which no document gives"
    )
    return (_cut(f"{count} {what}", width),)


def _faults(procedure: Path, checked: Checked) -> tuple[str, ...]:
    """The command for what is rehearsed apart, where every input has its set points."""
    if len(checked.settings.set_points) != len(checked.documents.device.inputs):
        return ()
    return (f"Wrong leads, mistyped figures, lost supplies: railwright rehearse {procedure} --faults",)


def _settings(checked: Checked, width: int) -> tuple[str, ...]:
    """What is dialled in, an input a line, in columns as wide as they need to be."""
    settings = checked.settings
    reasons = [each for each in settings.reasons if each.setting != HOOK_UP]
    inputs = [name for name in checked.documents.device.inputs if name in {each.about for each in reasons}]
    columns = list(dict.fromkeys(each.setting for each in reasons if each.about in inputs))
    if not inputs:
        return ()
    values = {(each.about, each.setting): _value(each) for each in reasons}
    rows = [["", "fed by", *(name.replace("_", " ") for name in columns)]]
    rows += [
        [name, _fed_by(settings.set_points, name), *(values.get((name, column), "") for column in columns)]
        for name in inputs
    ]
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    lines = ["  ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)).rstrip() for row in rows]
    return ("", *(_cut(line, width) for line in lines), "")


def _value(reason: Reason) -> str:
    return reason.value if isinstance(reason.value, str) else show(reason.value, reason.unit)


def _fed_by(set_points: SetPoints, name: str) -> str:
    feed = set_points.get(name)
    if feed is None:
        return "?"
    outputs = " + ".join(str(each.output) for each in feed.outputs)
    return outputs if feed.arrangement == "alone" else f"{outputs} in {feed.arrangement}"


def _cut(text: str, width: int) -> str:
    """One line of at most so many columns, as it is printed."""
    from rich.cells import cell_len, set_cell_size

    line = printable(" ".join(text.split("\n")), one_line=True)
    return line if cell_len(line) <= width else set_cell_size(line, width - 1).rstrip() + MORE


def _broken(text: str, width: int) -> list[str]:
    """Broken into lines between words, as it is printed; what follows is set in as far as the first is."""
    import textwrap

    indent = " " * (len(text) - len(text.lstrip()) + 3)
    return textwrap.wrap(printable(text), width, subsequent_indent=indent, break_on_hyphens=False)
