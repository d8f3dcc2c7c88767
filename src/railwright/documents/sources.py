"""Where in a document something stands, and what is wrong with documents."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from railwright.near_words import hint as hint
from railwright.near_words import meant as meant
from railwright.printable import printable
from railwright.quantities import quoted


class Location(NamedTuple):
    """A place in a document; line and column count from 1."""

    file: str
    line: int
    column: int

    def __str__(self) -> str:
        return f"{printable(self.file, one_line=True)}:{self.line}:{self.column}"


class Problem(NamedTuple):
    """One thing that is wrong with a document: what was expected, what came, what to do."""

    location: Location
    message: str

    def __str__(self) -> str:
        return f"{self.location}: {printable(self.message, one_line=True)}"


class DocumentErrors(ValueError):
    """Everything that is wrong with the documents; as text, one line each."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(dict.fromkeys(problems))
        super().__init__("\n".join(str(problem) for problem in self.problems))


def none_of(what: str, known: Sequence[str], name: str) -> str:
    """What to say of a name that is none of the known ones. what: what they stand for, in the plural."""
    near = hint(name, known)
    shown = ", ".join(known[:8]) + (", ..." if len(known) > 8 else "")
    choice = f" ({shown})" if known and not near else ""
    return f"expected one of the {what}{choice}, got {quoted(name)}{near}"


def either(words: Iterable[str]) -> str:
    """Words as a choice: "'a', 'b' or 'c'"."""
    quotes = [f"'{word}'" for word in words]
    return quotes[0] if len(quotes) == 1 else f"{', '.join(quotes[:-1])} or {quotes[-1]}"
