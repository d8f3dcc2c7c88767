"""What report and sheet say of the contacts of relays: where each lies or what it drives, and how it stands
when.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import takewhile

from railwright.documents.loader import Documents
from railwright.plan.contacts import Lies, closed_after, contacts_of
from railwright.plan.timeline import ContactChange


def lying(documents: Documents) -> list[Lies]:
    """Contacts in the leads of inputs that are hooked up, and those that drive pins."""
    return list(contacts_of(documents, documents.procedure.hook_up).values())


def contact_words(documents: Documents) -> Iterator[str]:
    """Each contact in a sentence, with the steps that move it."""
    for each in lying(documents):
        moved = [
            f"{'closed' if closed else 'opened'} in '{step.called(index)}'{_means(each, closed)}"
            for index, step in enumerate(documents.procedure.steps)
            for name, closed in (step.relays.moves if step.relays is not None else ())
            if name == each.name
        ]
        begins = f"{_stands(each.starts_closed)} as the procedure begins{_means(each, each.starts_closed)}"
        line = "its instrument moves it and reports its state over a line of its own"
        yield f"{_where(each)}: {', '.join([begins, *moved])}; {line}"


def contacts_first(documents: Documents) -> list[str]:
    """How each contact stands before anything is switched on, after the steps before the first power-up."""
    lies = lying(documents)
    stands = closed_after(lies, takewhile(lambda step: step.power_up is None, documents.procedure.steps))
    return [f"{_where(each)}: {_how(each, stands[each.name])}." for each in lies]


def contacts_moved(documents: Documents, moved: Sequence[ContactChange]) -> list[str]:
    """How contacts are to stand after they were moved."""
    lies = {each.name: each for each in lying(documents)}
    return [f"{_where(lies[each.contact])}: {_how(lies[each.contact], each.closed)}." for each in moved
            if each.contact in lies]  # fmt: skip


def contacts_last(documents: Documents) -> list[str]:
    """How each contact is left."""
    return [f"{_where(each)}: {_how(each, each.rests_closed)}." for each in lying(documents)]


def _where(each: Lies) -> str:
    place = f"on pin {each.pin}" if each.pin else f"in the lead of {each.input}"
    return f"{each.name} ({each.instrument}, channel {each.contact.channel}), {place}"


def _how(each: Lies, closed: bool) -> str:
    return f"{_stands(closed)}{_means(each, closed)}"


def _means(each: Lies, closed: bool) -> str:
    """What that does to its pin."""
    if not each.pin:
        return ""
    level = each.contact.level(closed)
    driven = "not driven" if level is None else level
    return f" (pin {each.pin} {driven}, {'active' if each.enables(closed) else 'inactive'})"


def _stands(closed: bool) -> str:
    return "closed" if closed else "open"
