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
    """One finding of a rule: what it is about, where, the reason with its figures, and what to do."""

    about: str
    path: Path
    why: str
    remedy: str


class Unknown(NamedTuple):
    """A figure that no document gives. check: what cannot be checked without it, as a phrase for people;
    empty where only `auto` needs it. rule: the rule that judges a written value by it. auto: whether `auto`
    cannot be worked out without it.
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
    """What is known of a rule: a stable id, the severity of its findings, and, as its title, what it looks
    for.

    on_sheet: whether its cautions are printed on the set-up sheet. False where the person who sets the bench
    up cannot act on them: they concern what is played and measured later, or need another document.
    worst: which of several of its findings is the worst; None: their figures do not tell.
    """

    id: str
    severity: Severity
    title: str
    on_sheet: bool = field(default=True, kw_only=True)
    worst: Ranking | None = field(default=None, kw_only=True)


@dataclass(frozen=True)
class Rule(RuleFacts, Generic[Seen]):
    """A rule: what is known of it, and the function that makes its findings."""

    look: Callable[[Seen], Outcome]


def rule(
    identity: str, severity: Severity, *, on_sheet: bool = True, worst: Ranking | None = None
) -> Callable[[Callable[[Seen], Outcome]], Rule[Seen]]:
    """Make a rule of a function that takes the documents and set points, or a rehearsal.

    The first paragraph of its docstring is the title. The function yields `Unknown` where a figure is missing
    without which it cannot judge, and nothing where there is nothing to judge (no remote sense, no fuse).
    """

    def made(look: Callable[[Seen], Outcome]) -> Rule[Seen]:
        title = " ".join((look.__doc__ or "").strip().split("\n\n")[0].split())
        return Rule(identity, severity, title, look, on_sheet=on_sheet, worst=worst)

    return made


def of_every(
    things: Callable[[Seen], Iterable[tuple[*Thing]]],
) -> Callable[[Callable[[*Thing], Outcome]], Callable[[Seen], Outcome]]:
    """Call a rule's function for each of several things, such as inputs, with the parts of each as arguments.

    things: gives all of them, from what the rule is made for.
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
    """The same things, each with the context itself as first argument."""
    return lambda seen: ((seen, *thing) for thing in things(seen))
