"""What the contacts of a bench's relays do to the leads of inputs, and to the pins of the device, while a
timeline is played.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple, Protocol

from railwright.documents.bench import Bench
from railwright.documents.device import Device, enabled_inputs
from railwright.documents.procedure import Procedure, Step
from railwright.documents.relays import Contact
from railwright.plan.timeline import ContactChange, Timeline
from railwright.traces import EventKind

if TYPE_CHECKING:
    from railwright.documents.loader import Documents


class ContactMove(NamedTuple):
    """A contact stands open or closed from `time` [s] on, at the latest; `change`: what it was told."""

    time: float
    lies: Lies
    closed: bool
    change: ContactChange


class Lies(NamedTuple):
    """A contact that lies in the lead of an input, or drives a pin of the device. instrument: what moves it.

    input: '' for one that drives a pin. pin: what it drives; '' for one in a lead. active_closed: closed, it
    makes the pin active, and open inactive; or the other way round.
    """

    name: str
    contact: Contact
    instrument: str
    input: str
    starts_closed: bool
    pin: str = ""
    active_closed: bool = False

    def enables(self, closed: bool) -> bool:
        """Whether its pin is active then."""
        return closed == self.active_closed

    @property
    def rests_closed(self) -> bool:
        """How the end of a run leaves it: as without power; what drives a pin, so that it is inactive."""
        return not self.active_closed if self.pin else self.contact.without_power == "closed"

    @property
    def needs_no_load(self) -> bool:
        """Whether it may be moved only while nothing flows through it; a pin takes no load's current."""
        return not self.pin and not self.contact.under_load


def kind_of(lies: Lies, closed: bool) -> EventKind:
    """What happens as a contact comes to stand so."""
    if lies.pin:
        return EventKind.PIN_ACTIVE if lies.enables(closed) else EventKind.PIN_INACTIVE
    return EventKind.LEAD_CLOSES if closed else EventKind.LEAD_OPENS


def subjects_of(lies: Lies, device: Device) -> tuple[str, ...]:
    """Inputs that it concerns: the one in whose lead it lies, or those of which its pin enables a part; the
    pin itself, where that enables none.
    """
    return (lies.input,) if not lies.pin else enabled_inputs(device, lies.pin) or (lies.pin,)


class WithFixture(Protocol):
    """What feeds an input through a fixture, by its name: a feed, or a hook-up."""

    @property
    def fixture(self) -> str | None: ...


def contacts_of(documents: Documents, feeds: Mapping[str, WithFixture]) -> dict[str, Lies]:
    """Every contact in the lead of one of these inputs, or that drives a pin, by its name."""
    leads = contacts_in(documents.bench, feeds)
    return {**leads, **drivers_of(documents.device, documents.bench, documents.procedure)}


def drivers_of(device: Device, bench: Bench, procedure: Procedure) -> dict[str, Lies]:
    """Every contact that drives a pin of the device, by its name."""
    found: dict[str, Lies] = {}
    for pin, driven in procedure.pins.items():
        instrument, contact = bench.contacts[driven.source]
        enables = contact.closed == device.pins[pin].active
        starts_closed = enables == (driven.starts == "active")
        found[driven.source] = Lies(driven.source, contact, instrument, "", starts_closed, pin, enables)
    return found


def starts_active(device: Device, procedure: Procedure, pin: str) -> bool:
    """Whether a pin is active as the procedure begins; one that nothing drives is where its own level is, and
    where that is not known (what is enabled draws more).
    """
    driven = procedure.pins.get(pin)
    if driven is not None:
        return driven.starts == "active"
    return device.pins[pin].undriven in (None, device.pins[pin].active)


def contacts_in(bench: Bench, feeds: Mapping[str, WithFixture]) -> dict[str, Lies]:
    """Every contact in the lead of one of these inputs, by its name."""
    found: dict[str, Lies] = {}
    for name, feed in feeds.items():
        contact = bench.contact_in(feed.fixture) if bench.relays else None
        if contact is not None:
            instrument, what = bench.contacts[contact]
            between = bench.fixture(feed.fixture)
            opened = between is not None and between.opened
            found[contact] = Lies(contact, what, instrument, name, not opened)
    return found


def undriven_pins(device: Device | None, procedure: Procedure | None) -> dict[str, bool]:
    """Pins of the device that nothing drives -> whether they are active."""
    if device is None or procedure is None:
        return {}
    return {pin: starts_active(device, procedure, pin) for pin in device.pins if pin not in procedure.pins}


def pin_courses(documents: Documents, timeline: Timeline) -> dict[str, list[tuple[float, bool]]]:
    """Every pin of the device -> from when on [s] it is active or not; its first entry holds before, too."""
    device, procedure = documents.device, documents.procedure
    if not device.pins:
        return {}
    courses = {pin: [(0.0, starts_active(device, procedure, pin))] for pin in device.pins}
    for moved in pin_moves(documents, timeline):
        courses[moved.lies.pin].append((moved.time, moved.lies.enables(moved.closed)))
    return courses


def unsure_pins(documents: Documents, timeline: Timeline) -> dict[str, list[tuple[float, float]]]:
    """Pins of which no document says at times whether they are active -> from when to when [s]: nothing
    drives them, or a contact that drives them to no level as it stands, and their own level is not given.
    """
    device, procedure = documents.device, documents.procedure
    found: dict[str, list[tuple[float, float]]] = {}
    lies = {each.pin: each for each in drivers_of(device, documents.bench, procedure).values()}
    moves = pin_moves(documents, timeline) if lies else []
    for pin, each in device.pins.items():
        if each.undriven is not None:
            continue
        driver = lies.get(pin)
        if driver is None:
            found[pin] = [(-math.inf, math.inf)]
            continue
        course = [(0.0, driver.starts_closed)]
        course += [(moved.time, moved.closed) for moved in moves if moved.lies.pin == pin]
        spans = stretches_of(course)
        found[pin] = [(a, b) for a, b, closed in spans if driver.contact.level(closed) is None]
    return {pin: spans for pin, spans in found.items() if spans}


def unsure_within(
    documents: Documents, timeline: Timeline, name: str, start: float, end: float
) -> tuple[str, ...]:
    """Pins that enable a part of an input's load, and of which no document says whether they are active at
    some time between two instants [s].
    """
    pins = {each.enabled_by for each in documents.device.inputs[name].load if each.enabled_by}
    unsure = unsure_pins(documents, timeline) if pins else {}
    return tuple(
        pin for pin, spans in unsure.items() if pin in pins and any(a <= end and b > start for a, b in spans)
    )


def disabled_within(documents: Documents, timeline: Timeline, name: str, start: float, end: float) -> bool:
    """Whether a part of an input's load is disabled at any time between two instants [s]."""
    pins = {each.enabled_by for each in documents.device.inputs[name].load if each.enabled_by}
    courses = pin_courses(documents, timeline) if pins else {}
    return any(False in states_within(courses[pin], start, end) for pin in pins)


def pin_moves(documents: Documents, timeline: Timeline) -> list[ContactMove]:
    """Every movement of a contact that drives a pin."""
    lies = contacts_of(documents, documents.procedure.hook_up)
    return [moved for moved in contact_moves(lies, timeline) if moved.lies.pin]


def switched_on(timeline: Timeline, name: str) -> list[tuple[float, float, float]]:
    """Each time that an input is on: when it is switched on, when its first step is over, and when it is
    switched off; inf: at the end alone [s].
    """
    found: list[tuple[float, float, float]] = []
    for each in timeline.actions:
        if each.input == name and each.kind == "on":
            found.append((each.time, timeline.spans[each.step].end, math.inf))
        elif each.input == name and each.kind == "off" and found:
            found[-1] = (*found[-1][:2], each.time)
    return found


def stretches_of(course: Sequence[tuple[float, bool]]) -> list[tuple[float, float, bool]]:
    """From when to when [s] a pin is active or not, by its course: also before that begins, and after it."""
    times = [-math.inf, *(time for time, _ in course[1:]), math.inf]
    return [(*span, active) for span, (_, active) in zip(pairwise(times), course, strict=True)]


def states_within(course: Sequence[tuple[float, bool]], start: float, end: float) -> set[bool]:
    """Whether a pin is active, and whether it is inactive, at any time between two instants [s]."""
    return {active for begins, until, active in stretches_of(course) if begins <= end and until > start}


def contact_moves(lies: Mapping[str, Lies], timeline: Timeline) -> Iterator[ContactMove]:
    """Every movement of one of these contacts, when it is over: those of a step come one after the other."""
    ends: dict[int, float] = {}
    for change in timeline.contacts:
        own = lies.get(change.contact)
        if own is not None:
            begin = max(change.time, ends.get(change.step, change.time))
            ends[change.step] = begin + own.contact.takes(change.closed)
            yield ContactMove(ends[change.step], own, change.closed, change)


def closed_after(lies: Iterable[Lies], steps: Iterable[Step]) -> dict[str, bool]:
    """Whether each contact is closed after these first steps of a procedure."""
    closed = {each.name: each.starts_closed for each in lies}
    for step in steps:
        moves = step.relays.moves if step.relays is not None else ()
        closed.update((name, closes) for name, closes in moves if name in closed)
    return closed
