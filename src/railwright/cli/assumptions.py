"""What no document says, as check, rehearse and twin print it: each sentence once, and what it is of."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console

    from railwright.documents.bench import Bench
    from railwright.documents.device import Device

ASSUMED = "assumed"
"""The rule whose findings say the same, input by input."""

EVERYTHING = "all"


def grouped(sentences: Iterable[str], names: Iterable[str]) -> list[tuple[tuple[str, ...], tuple[str, ...]]]:
    """(what it is said of, what is assumed), each assumption once; those of the same things together.

    sentences: 'left.1: ...', or '...' for what holds everywhere. names: the inputs and outputs there are.
    """
    known = set(names)
    said_of: dict[str, list[str]] = {}
    for sentence in dict.fromkeys(sentences):
        subject, colon, rest = sentence.partition(": ")
        if not colon or subject not in known:
            subject, rest = EVERYTHING, sentence
        said_of.setdefault(rest, []).append(subject)
    groups: dict[tuple[str, ...], list[str]] = {}
    for rest, subjects in said_of.items():
        groups.setdefault(tuple(subjects), []).append(rest)
    return [(subjects, tuple(rests)) for subjects, rests in groups.items()]


def names_of(device: Device | None, bench: Bench) -> tuple[str, ...]:
    """Inputs and outputs that something can be said of."""
    outputs = (f"{name}.{own}" for name, supply in bench.supplies.items() for own in supply.outputs)
    return (*(device.inputs if device else ()), *outputs)


def print_assumptions(out: Console, sentences: Sequence[str], names: Iterable[str]) -> None:
    """A table, or nothing where nothing was assumed."""
    from railwright.cli.console import table

    if not sentences:
        return
    rows = [
        (", ".join(subjects), "\n".join(f"· {rest}" for rest in rests))
        for subjects, rests in grouped(sentences, names)
    ]
    out.print(table("Assumptions", ("Of", "Assumed, as no document says it"), rows))
