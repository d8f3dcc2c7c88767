"""What a rule is: one function that looks at one thing, with its id, its severity, and what it may say."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from functools import wraps
from typing import Generic, NamedTuple, TypeVar, TypeVarTuple

from railwright.settings.findings import Ranking, Severity

Path = tuple[str | int, ...]
"""A place in a document: keys and indices as they are written there, the document's name first."""

Seen = TypeVar("Seen", contravariant=True)
Thing = TypeVarTuple("Thing")


class Hit(NamedTuple):
    """A rule's case that holds: what it is about, where, the reason in numbers (a statement that keeps them),
    what to do.
    """

    about: str
    path: Path
    why: str
    remedy: str


class Unknown(NamedTuple):
    """A figure that no document gives, without which a rule could not judge `check` (a phrase for people).

    Of a constraint check may be empty, as no rule looks at it; rule: the one that judges a written value by
    it; auto: whether an automatic value cannot be worked out without it.
    """

    about: str
    path: Path
    figure: str
    check: str = ""
    rule: str = ""
    auto: bool = True


Outcome = Iterator[Hit | Unknown]


@dataclass(frozen=True)
class RuleFacts:
    """What is known of a rule: a stable id, how severe its findings are, and what it looks for, in a line.

    on_sheet: a caution of it belongs on the set-up sheet. False where whoever sets the bench up can do
    nothing about it: it is about what is played and measured later, or asks for another document.
    worst: which of several of its findings is the worst; None: no figure of theirs tells.
    """

    id: str
    severity: Severity
    title: str
    on_sheet: bool = field(default=True, kw_only=True)
    worst: Ranking | None = field(default=None, kw_only=True)


@dataclass(frozen=True)
class Rule(RuleFacts, Generic[Seen]):
    """One rule: what is known of it, and the function that looks."""

    look: Callable[[Seen], Outcome]


def rule(
    identity: str, severity: Severity, *, on_sheet: bool = True, worst: Ranking | None = None
) -> Callable[[Callable[[Seen], Outcome]], Rule[Seen]]:
    """Make a function of the documents and set points, or of a rehearsal, a rule.

    Its docstring's first paragraph is the title. It yields `Unknown` for a figure that no document gives and
    without which it cannot tell whether something that is there is right; where that which it looks at is
    not there (no remote sense, no fuse), it yields nothing.
    """

    def made(look: Callable[[Seen], Outcome]) -> Rule[Seen]:
        title = " ".join((look.__doc__ or "").strip().split("\n\n")[0].split())
        return Rule(identity, severity, title, look, on_sheet=on_sheet, worst=worst)

    return made


def of_every(
    things: Callable[[Seen], Iterable[tuple[*Thing]]],
) -> Callable[[Callable[[*Thing], Outcome]], Callable[[Seen], Outcome]]:
    """Have a rule's function asked of one thing after the other, each with what belongs to it as arguments.

    things: all of them, of everything that the rule may look at.
    """

    def made(look: Callable[[*Thing], Outcome]) -> Callable[[Seen], Outcome]:
        @wraps(look)
        def every(seen: Seen) -> Outcome:
            for thing in things(seen):
                yield from look(*thing)

        return every

    return made


def with_seen(
    things: Callable[[Seen], Iterable[tuple[*Thing]]],
) -> Callable[[Seen], Iterator[tuple[Seen, *Thing]]]:
    """The same things, with the whole context as first argument."""
    return lambda seen: ((seen, *thing) for thing in things(seen))
