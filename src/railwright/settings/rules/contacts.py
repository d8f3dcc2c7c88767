"""Rules about contacts: of those in a lead, what they are rated for, when they are moved, and what they are
not; of those that drive a pin of the device, to which level, when, and what that enables.
"""

from __future__ import annotations

from collections.abc import Iterator

from railwright.documents.device import enabled_inputs
from railwright.grouping import grouped
from railwright.plan.contacts import (
    Lies,
    closed_after,
    contact_moves,
    pin_courses,
    states_within,
    stretches_of,
    switched_on,
    unsure_pins,
)
from railwright.plan.off_order import held_voltage
from railwright.plan.stairs import EXACT
from railwright.plan.timeline import ContactChange
from railwright.quantities import state
from railwright.settings.context import BoundDocuments, Context, FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rule import Hit, Outcome, Path, Unknown, of_every, rule, with_seen

INDUCTIVE = ("coil", "dc_motor")
"""Loads that keep their current up when a contact opens."""


def _lying(context: BoundDocuments) -> Iterator[tuple[Lies, FedInput]]:
    """Contacts that lie in the lead of an input."""
    return ((lies, context.sources[lies.input]) for lies in context.contacts.values() if lies.input)


def at_contact(lies: Lies, *key: str) -> Path:
    """Where a contact is written."""
    return ("bench", "relays", lies.instrument, "contacts", lies.name, *key)


def moved_contacts(
    context: BoundDocuments,
) -> Iterator[tuple[ContactChange, Lies, FedInput, bool]]:
    """Movements of contacts, and whether the input is on then: it goes off before, where both are at one
    instant.
    """
    lying = {lies.name: (lies, source) for lies, source in _lying(context)}
    for change in context.timeline.contacts:
        if change.contact in lying:
            lies, source = lying[change.contact]
            yield change, lies, source, lies.input in context.on[change.before]


@rule("relay-under-load", Severity.STOP)
def relay_under_load(context: Context) -> Outcome:
    """A contact that is not rated for it is moved under load: while its input is on, or onto a voltage that
    the device holds. A run refuses to move it while the input is on, whatever was accepted; what the device
    holds behind an open contact it cannot see.
    """
    for lies, source in _lying(context):
        held = held_voltage(context.device, lies.input)
        if held is not None and lies.starts_closed and not lies.contact.under_load:
            yield Hit(
                source.name,
                (*source.at_fixture, "switch"),
                state(
                    "'{contact}' is closed before the procedure, onto up to {held} that the device holds at "
                    "{input}, and is not rated to switch under load",
                    contact=lies.name,
                    held=(held[1], "V"),
                    input=source.name,
                ),
                "take a contact that is rated for it, or disconnect the device's own source first",
            )
    for change, lies, source, on in moved_contacts(context):
        held = held_voltage(context.device, lies.input)
        if lies.contact.under_load or not (on or (change.closed and held is not None)):
            continue
        why = (
            state(
                "'{contact}' {moves} while {input} is on",
                contact=lies.name,
                moves=change.moves,
                input=source.name,
            )
            if on or held is None
            else state(
                "'{contact}' closes onto up to {held} that the device holds at {input}",
                contact=lies.name,
                held=(held[1], "V"),
                input=source.name,
            )
        )
        yield Hit(
            source.name,
            change.at,
            state("{why}, and is not rated to switch under load", why=why),
            "move it while the input is off, or take a contact that is rated for it (`under_load: yes`)",
        )


@rule("relay-rating", Severity.STOP, worst=Ranking("reached", over="rated"))
def relay_rating(context: Context) -> Outcome:
    """More voltage or current than a contact is rated for, d.c.: up to where the OVP acts, and to the current
    limit, each with its error.
    """
    feeds = dict(context.having("current_limit", "ovp"))
    for lies, source in _lying(context):
        feed = feeds.get(source)
        ovp = source.ovp_with_error(feed.ovp) if feed else None
        limit = source.at_most(feed.limit) if feed else None
        acts = state("the OVP of {input} acts at", input=source.name)
        lets = state("the current limit of {input} lets through", input=source.name)
        for key, unit, reached, what, does in (
            ("voltage", "V", ovp, "the level at which the OVP acts", acts),
            ("current", "A", limit, "the current limit", lets),
        ):
            rated = getattr(lies.contact, key)
            if rated is None:
                figure = f"largest d.c. {key} of contact '{lies.name}'"
                yield Unknown(source.name, at_contact(lies), figure, f"whether it bears {what}")
            elif reached is not None and reached > rated:
                yield Hit(
                    source.name,
                    at_contact(lies, key),
                    state(
                        "{does} up to {reached}, '{contact}' is rated {rated} d.c.",
                        does=does,
                        reached=(reached, unit),
                        contact=lies.name,
                        rated=(rated, unit),
                    ),
                    "take a contact that is rated for it, or lower the limit",
                )


@rule("relay-load-unrated", Severity.STOP)
@of_every(moved_contacts)
def relay_load_unrated(change: ContactChange, lies: Lies, source: FedInput, on: bool) -> Outcome:
    """A contact is moved while its input is on, rated to be, and nobody says for which voltage or current."""
    missing = [key for key in ("voltage", "current") if getattr(lies.contact, key) is None]
    if on and lies.contact.under_load and missing:
        yield Hit(
            source.name,
            change.at,
            state(
                "'{contact}' {moves} while {input} is on, and its d.c. rating lacks: {missing}",
                contact=lies.name,
                moves=change.moves,
                input=source.name,
                missing=", ".join(missing),
            ),
            "give both from its data sheet; a rating for a.c. is none for d.c.",
        )


@rule("relay-settle", Severity.STOP, worst=Ranking("needed", over="settle"))
def relay_settle(context: Context) -> Outcome:
    """A step is over before its contacts, which are moved one after the other, have stopped bouncing."""
    moves = grouped((move.change.step, move) for move in contact_moves(context.contacts, context.timeline))
    for index, step in enumerate(context.procedure.steps):
        if step.relays is None or index not in moves:
            continue
        first, last = moves[index][0], moves[index][-1]
        needed = last.time - first.change.time
        if needed > step.relays.settle * (1.0 + EXACT):
            yield Hit(
                first.lies.input or first.lies.pin,
                ("procedure", "steps", index, "relays", "settle"),
                state(
                    "'{step}' gives its contacts {settle}, they take {needed}",
                    step=step.called(index),
                    settle=(step.relays.settle, "s"),
                    needed=(needed, "s"),
                ),
                "give the step more time",
            )


@rule("relay-open", Severity.CAUTION)
@of_every(with_seen(_lying))
def relay_open(context: BoundDocuments, lies: Lies, source: FedInput) -> Outcome:
    """An input is switched on while the contact in its lead is open: nothing that is played reaches it."""
    for index in _on_while_open(context, lies):
        yield Hit(
            source.name,
            ("procedure", "steps", index),
            state(
                "'{step}' switches {input} on while '{contact}' in its lead is open",
                step=context.procedure.steps[index].called(index),
                input=source.name,
                contact=lies.name,
            ),
            "close it in a step before, or check that this is intended",
        )


@rule("relay-sense", Severity.STOP)
@of_every(with_seen(_lying))
def relay_sense(context: BoundDocuments, lies: Lies, source: FedInput) -> Outcome:
    """An input whose voltage is sensed at the load is on while the contact in its lead is open: the output
    sees no voltage and rises as far as it can.
    """
    opened = (
        change.step
        for change, each, _, on in moved_contacts(context)
        if each == lies and on and not change.closed
    )
    steps = dict.fromkeys([*_on_while_open(context, lies), *opened])
    for index in steps if source.senses else ():
        yield Hit(
            source.name,
            ("procedure", "steps", index),
            state(
                "{input} is sensed at the load and on in '{step}' while '{contact}' is open",
                input=source.name,
                step=context.procedure.steps[index].called(index),
                contact=lies.name,
            ),
            "sense at the terminals, or keep the contact closed while the input is on",
        )


def _on_while_open(context: BoundDocuments, lies: Lies) -> list[int]:
    """Positions of steps that switch an input on while the contact in its lead is open."""
    return [
        each.step
        for each in context.timeline.actions
        if (each.input, each.kind) == (lies.input, "on")
        and not closed_after([lies], context.procedure.steps[: each.step])[lies.name]
    ]


@rule("relay-inductive", Severity.CAUTION)
@of_every(moved_contacts)
def relay_inductive(change: ContactChange, lies: Lies, source: FedInput, on: bool) -> Outcome:
    """A contact opens under an inductive load, and nothing is said to take over its current: the arc wears
    the contact, and the voltage across it rises far above what is played.
    """
    kinds = [each.kind for each in source.input.load if each.kind in INDUCTIVE]
    if on and not change.closed and kinds and not lies.contact.suppressed:
        yield Hit(
            source.name,
            change.at,
            state(
                "'{contact}' opens while {input} is on, whose load is inductive ({kinds})",
                contact=lies.name,
                input=source.name,
                kinds=", ".join(kinds).replace("_", " "),
            ),
            "put a diode or a varistor across the load, and write `suppressed: yes`",
        )


@rule("relay-isolates-nothing", Severity.CAUTION)
@of_every(_lying)
def relay_isolates_nothing(lies: Lies, source: FedInput) -> Outcome:
    """A contact lies in a lead. It opens one conductor, may weld, and what it answers is what its coil was
    told: an open contact makes nothing safe to touch.
    """
    yield Hit(
        source.name,
        at_contact(lies),
        state(
            "'{contact}' of {instrument} lies in the lead of {input}; open, it isolates nothing",
            contact=lies.name,
            instrument=lies.instrument,
            input=source.name,
        ),
        "switch the outputs off and measure before anything is touched, however the contact stands",
    )


def _driven(context: BoundDocuments) -> Iterator[tuple[Lies]]:
    """Contacts that drive pins."""
    return ((lies,) for lies in context.contacts.values() if lies.pin)


def _at_pin(pin: str, *key: str) -> Path:
    return ("device", "pins", pin, *key)


def _words(active: bool) -> str:
    return "active" if active else "inactive"


@rule("pin-undriven", Severity.CAUTION)
def pin_undriven(context: Context) -> Outcome:
    """Nothing drives a pin that enables a part of the load: the part stays as the pin's own level has it.
    Where the device document does not give that level, what is rehearsed of the part is a guess, also while a
    contact leaves the pin alone.
    """
    unsure = unsure_pins(context.documents, context.timeline)
    for pin, each in context.device.pins.items():
        inputs = [name for name in enabled_inputs(context.device, pin) if name in context.sources]
        if inputs and pin in unsure:
            driven = context.procedure.pins.get(pin)
            counted = pin_courses(context.documents, context.timeline)[pin]
            taken = {active for start, _ in unsure[pin] for active in states_within(counted, start, start)}
            yield Hit(
                inputs[0],
                _at_pin(pin),
                state(
                    "{what} pin '{pin}', which enables a part of {inputs}, and the device document does not "
                    "say which level it takes then: {state} is assumed, and what is required of {inputs} "
                    "then is not predicted",
                    what=state("'{contact}' at times does not drive", contact=driven.source)
                    if driven
                    else "nothing drives",
                    pin=pin,
                    inputs=" and ".join(inputs),
                    state=" and ".join(map(_words, sorted(taken))),
                ),
                "give `undriven` of the pin in the device document",
            )
            continue
        if pin in context.procedure.pins or not inputs or each.undriven is None:
            continue
        yield Hit(
            inputs[0],
            _at_pin(pin),
            state(
                "nothing drives pin '{pin}', which enables a part of {inputs}: it takes its own level, "
                "{level}, and stays {state}",
                pin=pin,
                inputs=" and ".join(inputs),
                level=each.undriven,
                state=_words(each.undriven == each.active),
            ),
            "say under `pins` in the procedure what drives it, or check that this is intended",
        )


@rule("pin-enables-nothing", Severity.CAUTION)
@of_every(with_seen(_driven))
def pin_enables_nothing(context: BoundDocuments, lies: Lies) -> Outcome:
    """A pin is driven, and no part of the load is said to be enabled by it: the rehearsal counts all of them
    as drawn whenever they are fed.
    """
    if not enabled_inputs(context.device, lies.pin):
        yield Hit(
            lies.pin,
            ("procedure", "pins", lies.pin),
            state(
                "'{contact}' drives pin '{pin}', and no part of any input's load has `enabled_by: {pin}`",
                contact=lies.name,
                pin=lies.pin,
            ),
            "write `enabled_by` beside each part that draws nothing while the pin is inactive",
        )


@rule("pin-polarity", Severity.STOP)
@of_every(with_seen(_driven))
def pin_polarity(context: BoundDocuments, lies: Lies) -> Outcome:
    """A contact drives a pin to the same side open and closed: what it enables can never be switched on, or
    never off.
    """
    opened = lies.contact.level(False) or context.device.pins[lies.pin].undriven
    if opened is None:
        figure = f"level of pin '{lies.pin}' while '{lies.name}' is open"
        yield Unknown(lies.pin, _at_pin(lies.pin, "undriven"), figure, "whether it can be made inactive")
    elif opened == lies.contact.closed:
        yield Hit(
            lies.pin,
            at_contact(lies, "closed"),
            state(
                "'{contact}' closed drives pin '{pin}' {closed}, and open leaves it {opened}: it is always "
                "{state}",
                contact=lies.name,
                pin=lies.pin,
                closed=opened,
                opened=opened,
                state=_words(lies.active_closed),
            ),
            "correct a level of the contact or of the pin, or take a contact that drives it the other way",
        )


@rule("pin-rests-active", Severity.STOP)
@of_every(_driven)
def pin_rests_active(lies: Lies) -> Outcome:
    """A contact without power makes its pin active: where its instrument fails or is switched off, the device
    is enabled, and `railwright off` without the plan of a run leaves it so.
    """
    rests = lies.contact.without_power
    if lies.enables(rests == "closed"):
        yield Hit(
            lies.pin,
            at_contact(lies, "without_power"),
            state(
                "'{contact}' is {rests} without power, which makes pin '{pin}' active",
                contact=lies.name,
                rests=rests,
                pin=lies.pin,
            ),
            "take a contact that rests the other way, or drive the pin to the other level",
        )


@rule("pin-never-active", Severity.CAUTION)
@of_every(with_seen(_driven))
def pin_never_active(context: BoundDocuments, lies: Lies) -> Outcome:
    """A requirement measures an input, and a part of its load is enabled in none of the steps that
    requirements measure it in.
    """
    course = pin_courses(context.documents, context.timeline)[lies.pin]
    steps = {span.name: span for span in context.timeline.spans}
    for name in enabled_inputs(context.device, lies.pin):
        during = dict.fromkeys(each.during for each in context.procedure.requires if each.of == name)
        spans = [steps[step] for step in during if step in steps]
        if not spans or any(True in states_within(course, span.start, span.end) for span in spans):
            continue
        yield Hit(
            name,
            ("procedure", "pins", lies.pin),
            state(
                "{input} is measured in '{steps}', where pin '{pin}' is never active",
                input=name,
                steps="', '".join(during),
                pin=lies.pin,
            ),
            "make it active in a step before, or check that the device is meant to be measured disabled",
        )


@rule("pin-feeds-back", Severity.CAUTION)
@of_every(with_seen(_driven))
def pin_feeds_back(context: BoundDocuments, lies: Lies) -> Outcome:
    """A pin is driven to its high level while the inputs that it enables are off: through the pin's own
    protection it may feed the device that has no supply.
    """
    inputs = [name for name in enabled_inputs(context.device, lies.pin) if name in context.sources]
    if not inputs:
        return
    course = pin_courses(context.documents, context.timeline)[lies.pin]
    on = [each for name in inputs for each in switched_on(context.timeline, name)]
    when = "after the end" if lies.contact.level(lies.rests_closed) == "high" else ""
    for start, end, active in stretches_of(course):
        high = lies.contact.level(active == lies.active_closed) == "high"
        played = min(end, context.timeline.duration)
        if high and not any(begins <= start and played <= until for begins, _, until in on):
            when = "before it is switched on" if not on or start < on[0][0] else "after it is switched off"
            break
    if when:
        yield Hit(
            inputs[0],
            at_contact(lies),
            state(
                "'{contact}' drives pin '{pin}' high {when}, while {input} is off",
                contact=lies.name,
                pin=lies.pin,
                when=when,
                input=inputs[0],
            ),
            "check that the pin bears it without a supply, or put a resistor in series with it",
        )
