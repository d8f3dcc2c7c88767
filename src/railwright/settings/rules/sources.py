"""Rules about a source of the device's own behind an output, such as a cell: what current is fed into it,
what ends that, and what would short it.
"""

from __future__ import annotations

from collections.abc import Iterator

from railwright.documents.bench import Output
from railwright.documents.output_name import OutputName
from railwright.plan.off_order import held_voltage
from railwright.plan.set_points import Feed
from railwright.plan.source_behind import reading_error, voltmeter_of
from railwright.plan.sources import fed_sources, first_voltage
from railwright.plan.stairs import set_error
from railwright.quantities import state
from railwright.settings.context import Context, FedInput
from railwright.settings.findings import Severity
from railwright.settings.group import output_path
from railwright.settings.rule import Hit, Outcome, Unknown, of_every, rule, with_seen
from railwright.settings.rules.energy import blocks
from railwright.settings.rules.judge import outputs


def fed(context: Context) -> Iterator[tuple[FedInput]]:
    """Every input that current is fed into and that has a source of its own."""
    names = fed_sources(context.procedure, context.device)
    return ((source,) for name, source in context.sources.items() if name in names)


@rule("source-crowbar", Severity.STOP)
@of_every(with_seen(outputs))
def crowbar(context: Context, source: FedInput, name: OutputName, output: Output) -> Outcome:
    """An OVP shorts its output when it acts, and the device's own source drives its current through that,
    which nothing ends.
    """
    held = held_voltage(context.device, source.name)
    if held is not None and output.ovp is not None and output.ovp.crowbar is not None and not blocks(source):
        yield Hit(
            source.name,
            (*output_path(name), "ovp", "crowbar"),
            state(
                "the OVP of {output} shorts its terminals when it acts, and with them {input}'s own source "
                "of up to {held}",
                output=name,
                input=source.name,
                held=(held[1], "V"),
            ),
            "take an output whose OVP only switches off, or put a fuse or a diode between",
        )


def _goal(context: Context, source: FedInput) -> tuple[Feed, float] | None:
    """The feed of an input, and the voltage that it is set to first [V]."""
    lines = (a for a in context.timeline.actions if a.kind == "line" and a.input == source.name)
    first, feed = next(lines, None), context.drafts.get(source.name)
    return None if first is None or feed is None else (feed, first.voltage)


@rule("source-full", Severity.STOP)
@of_every(with_seen(fed))
def full(context: Context, source: FedInput) -> Outcome:
    """A source stands at the voltage that it is set to, or above it, before the output goes on: nothing flows
    into it, and a run does not begin.
    """
    found, stands = _goal(context, source), first_voltage(context.device, source.name)
    if found is None or stands is None:
        return
    feed, goal = found
    within = set_error(feed, context.bench, goal)
    within += reading_error(context.procedure, context.bench, feed, stands[1])
    if stands[1] >= goal - within:
        yield Hit(
            source.name,
            (*source.at_input, "load"),
            state(
                "its source stands at up to {stands} before it goes on, and is set to {goal} (± {within} "
                "with reading): nothing flows into it",
                stands=(stands[1], "V"),
                goal=(goal, "V"),
                within=(within, "V"),
            ),
            "give the state of charge that it has, or set a higher voltage where it bears that",
        )


@rule("source-under", Severity.STOP)
@of_every(with_seen(fed))
def under(context: Context, source: FedInput) -> Outcome:
    """A source stands below the voltage that it must never be under: a run does not begin."""
    stands, lowest = first_voltage(context.device, source.name), source.input.never_under
    if lowest is None:
        yield Unknown(
            source.name,
            (*source.at_input, "never_under"),
            "the voltage below which nothing is fed into its source (never_under)",
            "what stands there before it goes on",
        )
    elif stands is not None and stands[0] < lowest:
        yield Hit(
            source.name,
            (*source.at_input, "never_under"),
            state(
                "its source stands at down to {stands} before it goes on; below {lowest} nothing is fed "
                "into it",
                stands=(stands[0], "V"),
                lowest=(lowest, "V"),
            ),
            "take another cell: one that was below is not charged",
        )


@rule("source-charge-limit", Severity.STOP)
@of_every(fed)
def charge_limit(source: FedInput) -> Outcome:
    """Nothing bounds the charge that goes into a source: the voltage alone does not show that a cell takes
    more than it holds.
    """
    if source.limits.charge_at_most is None:
        yield Hit(
            source.name,
            source.at_limits,
            "nothing bounds the charge that goes into its source",
            "write 'charge_at_most' in its limits, such as the cell's capacity and a tenth more",
        )


@rule("source-hidden", Severity.STOP)
@of_every(with_seen(fed))
def hidden(context: Context, source: FedInput) -> Outcome:
    """A series diode hides a source from the output that feeds it, so that the supply reads neither its
    voltage nor its polarity before it goes on.
    """
    if blocks(source) and voltmeter_of(context.procedure, context.bench, source.name) is None:
        yield Hit(
            source.name,
            (*source.at_fixture, "diode"),
            "the diode hides its source from the output: what stands there is not read before it goes on",
            "connect a multimeter that reads the voltage at the connector, or take the diode out",
        )


@rule("source-unwatched", Severity.STOP)
@of_every(with_seen(fed))
def unwatched(context: Context, source: FedInput) -> Outcome:
    """A cell is to be charged with nobody there, and nothing watches its temperature or its protection
    circuit: not without a person.
    """
    interlock = context.interlock
    if not context.procedure.attended and (interlock is None or interlock.watches is None):
        yield Hit(
            source.name,
            ("procedure", "attended"),
            "not without a person: nobody is there, and no interlock watches the temperature of its source, "
            "or its protection circuit",
            "stay beside the bench (attended: yes), or give an 'interlock' that 'watches' one of them",
        )


@rule("source-rise", Severity.NOTE)
@of_every(with_seen(fed))
def rise_unused(context: Context, source: FedInput) -> Outcome:
    """A rise is written for an input that starts from the voltage that stands there: it is not used."""
    for number, step in enumerate(context.procedure.steps):
        up = step.power_up
        if up is not None and source.name in up.order and up.rise is not None:
            yield Hit(
                source.name,
                ("procedure", "steps", number, "power_up", "rise"),
                "it starts from the voltage that stands there, within its current limit: the rise is not "
                "used for it",
                "leave 'rise' out where nothing else comes up with it",
            )
