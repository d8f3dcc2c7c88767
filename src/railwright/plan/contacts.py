"""What the contacts of a bench's relays do to the leads of inputs while a timeline is played."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import NamedTuple

from railwright.documents.bench import Bench
from railwright.documents.procedure import Step
from railwright.documents.relays import Contact
from railwright.plan.set_points import SetPoints
from railwright.plan.timeline import ContactChange, Timeline


class ContactMove(NamedTuple):
    """A contact in the lead of an input stands open or closed from `time` [s] on, at the latest; `change`:
    what it was told.
    """

    time: float
    input: str
    closed: bool
    change: ContactChange


class Lies(NamedTuple):
    """A contact that lies in the lead of an input. instrument: what moves it."""

    name: str
    contact: Contact
    instrument: str
    input: str
    starts_closed: bool


def contacts_of(bench: Bench, set_points: SetPoints) -> dict[str, Lies]:
    """Every contact in the lead of an input that has set points, by its name."""
    return contacts_in(bench, {name: feed.fixture for name, feed in set_points.items()})


def contacts_in(bench: Bench, fixtures: Mapping[str, str | None]) -> dict[str, Lies]:
    """The same, by the name of each input's fixture."""
    found: dict[str, Lies] = {}
    for name, fixture in fixtures.items():
        contact = bench.contact_in(fixture) if bench.relays else None
        if contact is not None:
            instrument, what = bench.contacts[contact]
            between = bench.fixture(fixture)
            opened = between is not None and between.opened
            found[contact] = Lies(contact, what, instrument, name, not opened)
    return found


def contact_moves(lies: Mapping[str, Lies], timeline: Timeline) -> Iterator[ContactMove]:
    """Every movement of one of these contacts, when it is over: those of a step come one after the other."""
    ends: dict[int, float] = {}
    for change in timeline.contacts:
        own = lies.get(change.contact)
        if own is not None:
            begin = max(change.time, ends.get(change.step, change.time))
            ends[change.step] = begin + own.contact.takes(change.closed)
            yield ContactMove(ends[change.step], own.input, change.closed, change)


def closed_after(lies: Iterable[Lies], steps: Iterable[Step]) -> dict[str, bool]:
    """Whether each contact is closed after these first steps of a procedure."""
    closed = {each.name: each.starts_closed for each in lies}
    for step in steps:
        moves = step.relays.moves if step.relays is not None else ()
        closed.update((name, closes) for name, closes in moves if name in closed)
    return closed
