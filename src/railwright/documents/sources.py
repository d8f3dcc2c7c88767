"""Where in a document something stands, and what is wrong with documents."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from railwright.printable import printable
from railwright.quantities import quoted


@dataclass(frozen=True, slots=True)
class Location:
    """A place in a document; line and column count from 1."""

    file: str
    line: int
    column: int

    def __str__(self) -> str:
        return f"{printable(self.file, one_line=True)}:{self.line}:{self.column}"


@dataclass(frozen=True, slots=True)
class Problem:
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


def meant(word: str, known: Iterable[str]) -> str:
    """The known word that is probably meant: the nearest one; the word itself where none is near."""
    words = list(known)
    same = [other for other in words if other.casefold() == word.casefold()]
    near = same or difflib.get_close_matches(word[:200], words, 1, 0.6)
    return near[0] if near and word not in words else word


def hint(word: str, known: Iterable[str]) -> str:
    """'; did you mean ...?' with the nearest known word; nothing where none is near."""
    near = meant(word, known)
    return f"; did you mean '{near}'?" if near != word else ""


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
