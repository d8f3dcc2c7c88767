"""What no document says and was taken instead: of what, and what."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal, NamedTuple


class Assumption(NamedTuple):
    """One thing that was assumed. subject: the input or output that it is of; empty: it holds everywhere.

    part: 'lead' where it is of the lead to that input; empty: of the subject itself.
    """

    subject: str
    text: str
    part: Literal["", "lead"] = ""

    def __str__(self) -> str:
        return f"{self.subject}: {self.text}" if self.subject else self.text


class Assumptions:
    """Assumptions in the order in which they were first made, each once."""

    def __init__(self) -> None:
        self._made: dict[Assumption, None] = {}

    def add(self, subject: str, *texts: str, part: Literal["", "lead"] = "") -> None:
        """Declare what was assumed of a subject."""
        self._made.update({Assumption(subject, text, part): None for text in texts})

    def all(self) -> tuple[Assumption, ...]:
        """Every one of them."""
        return tuple(self._made)


def given_or(note: Callable[[str], object], value: float | None, otherwise: float, sentence: str) -> float:
    """A figure as it is given, else what is assumed of it, which is noted."""
    if value is None:
        note(sentence)
        return otherwise
    return value
