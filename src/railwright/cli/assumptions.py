"""What no document says, as check, rehearse and twin print it: each sentence once, and what it is of."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from railwright.grouping import grouped

if TYPE_CHECKING:
    from rich.console import Console

    from railwright.assumptions import Assumption

EVERYTHING = "all"


def by_subjects(made: Iterable[Assumption]) -> list[tuple[tuple[str, ...], tuple[str, ...]]]:
    """(what it is said of, what is assumed), each assumption once; those of the same things together."""
    said_of = grouped((each.text, each.subject or EVERYTHING) for each in dict.fromkeys(made))
    groups = grouped((tuple(subjects), text) for text, subjects in said_of.items())
    return [(subjects, tuple(texts)) for subjects, texts in groups.items()]


def print_assumptions(out: Console, made: Sequence[Assumption]) -> None:
    """A table, or nothing where nothing was assumed."""
    from railwright.cli.console import table

    if not made:
        return
    rows = [
        (", ".join(subjects), "\n".join(f"· {text}" for text in texts))
        for subjects, texts in by_subjects(made)
    ]
    out.print(table("Assumptions", ("Of", "Assumed, as no document says it"), rows))
