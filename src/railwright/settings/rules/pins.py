"""Rules about pins that enable parts of the load: who drives them, to which level, and when."""

from __future__ import annotations

import math
from collections.abc import Iterator

from railwright.documents.device import enabled_inputs
from railwright.plan.contacts import (
    Lies,
    drivers_of,
    pin_courses,
    pin_moves,
    states_within,
    switched_on,
)
from railwright.quantities import state
from railwright.settings.context import BoundDocuments, Context
from railwright.settings.findings import Severity
from railwright.settings.rule import Hit, Outcome, Path, Unknown, of_every, rule, with_seen
from railwright.settings.rules.relays import at_contact


def _driven(context: BoundDocuments) -> Iterator[tuple[Lies]]:
    """Contacts that drive pins."""
    for lies in drivers_of(context.device, context.bench, context.procedure).values():
        yield (lies,)


def _at_pin(pin: str, *key: str) -> Path:
    return ("device", "pins", pin, *key)


def _words(active: bool) -> str:
    return "active" if active else "inactive"


@rule("pin-undriven", Severity.CAUTION)
def pin_undriven(context: Context) -> Outcome:
    """Nothing drives a pin that enables a part of the load: the part stays as the pin's own level has it."""
    for pin, each in context.device.pins.items():
        inputs = [name for name in enabled_inputs(context.device, pin) if name in context.sources]
        if pin in context.procedure.pins or not inputs:
            continue
        if each.undriven is None:
            figure = f"level that pin '{pin}' takes where nothing drives it"
            yield Unknown(inputs[0], _at_pin(pin, "undriven"), figure, f"whether {inputs[0]} is enabled")
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
    stands = [(-math.inf, lies.starts_closed)]
    stands += [
        (moved.time, moved.closed)
        for moved in pin_moves(context.documents, context.timeline)
        if moved.lies == lies
    ]
    ends = [time for time, _ in stands[1:]] + [context.timeline.duration]
    on = [each for name in inputs for each in switched_on(context.timeline, name)]
    when = "after the end" if lies.contact.level(lies.rests_closed) == "high" else ""
    for (start, closed), end in zip(stands, ends, strict=True):
        covered = any(begins <= start and end <= until for begins, _, until in on)
        if lies.contact.level(closed) == "high" and not covered:
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
