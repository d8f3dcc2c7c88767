"""What a rule is: one function that looks at one thing, with its id, its severity, and what it may say."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Generic, TypeVar

from railwright.settings.findings import Severity

Path = tuple[str | int, ...]
"""A place in a document: keys and indices as they are written there, the document's name first."""

Seen = TypeVar("Seen")


@dataclass(frozen=True, slots=True)
class Hit:
    """A rule's case that holds: what it is about, where, the reason in numbers (a statement that keeps them),
    what to do.
    """

    about: str
    path: Path
    why: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Unknown:
    """A figure that no document gives, without which a rule could not judge `check` (a phrase for people)."""

    about: str
    path: Path
    figure: str
    check: str


Outcome = Iterator[Hit | Unknown]


@dataclass(frozen=True)
class Rule(Generic[Seen]):
    """One rule: a stable id, how severe its findings are, and the function that looks."""

    id: str
    severity: Severity
    look: Callable[[Seen], Outcome]

    def __call__(self, seen: Seen) -> Outcome:
        return self.look(seen)

    @property
    def title(self) -> str:
        """The first paragraph of the function's docstring, in one line."""
        return " ".join((self.look.__doc__ or "").strip().split("\n\n")[0].split())


def rule(identity: str, severity: Severity) -> Callable[[Callable[[Seen], Outcome]], Rule[Seen]]:
    """Make a function of the documents and set points, or of a rehearsal, a rule."""
    return lambda look: Rule(identity, severity, look)
