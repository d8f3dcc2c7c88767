"""Rules about protections: OVP, trip delay, linked trips."""

from __future__ import annotations

import math

from railwright.documents.bench import Output
from railwright.documents.device import NeverRule
from railwright.documents.output_name import OutputName
from railwright.plan.linking import linked_by_program, look_interval
from railwright.plan.set_points import Feed
from railwright.plan.stairs import exchange_of
from railwright.quantities import StatedFigure, Statement, state
from railwright.settings.constraints import current_limit, ovp, power, trip_delay
from railwright.settings.context import Context, FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rule import Hit, Outcome, of_every, rule
from railwright.settings.rules.judge import having, kept_apart, outputs, settings_judged
from railwright.settings.windows.protections import OVP_MARGIN


@rule("ovp-range", Severity.STOP)
def ovp_range(context: Context) -> Outcome:
    """An OVP level is outside the output's range, or the bench does not say that the output has an OVP."""
    yield from _without(context, "ovp", "over-voltage protection")
    yield from settings_judged(context, "ovp", lambda source, _: ovp.range_of(source).ends())


@rule("ovp-above-withstand", Severity.STOP)
def ovp_above_withstand(context: Context) -> Outcome:
    """The OVP, with its error and what happens while it responds, lets through more than the input
    withstands.
    """
    yield from settings_judged(context, "ovp", ovp.borne)


@rule("ovp-below-played", Severity.STOP)
def ovp_below_played(context: Context) -> Outcome:
    """The OVP, with its error, trips at a voltage that the procedure plays."""
    yield from settings_judged(context, "ovp", ovp.played)


@rule("ovp-close", Severity.CAUTION, on_sheet=False, worst=Ranking("margin", lowest=True))
@of_every(having("ovp"))
def ovp_close(given: FedInput, feed: Feed) -> Outcome:
    """The OVP, with its error, is less than 3 % above the highest voltage played: it may trip needlessly."""
    # Where the current limit is not settled and the drop on the lead is sensed away, `highest` is nan.
    source = given.in_operation
    highest, played = source.highest_terminals(feed.limit), source.played.highest
    if highest is not None and played is not None:
        least = feed.ovp - source.ovp_early(played.voltage)
        if highest < least < highest * (1 + OVP_MARGIN):
            yield Hit(
                source.name,
                (*source.at_limits, "ovp"),
                state(
                    "the OVP may trip from {ovp} on, {margin} above the highest voltage at the terminals, "
                    "{highest}",
                    ovp=(least, "V"),
                    margin=(least - highest, "V"),
                    highest=(highest, "V"),
                ),
                f"leave {OVP_MARGIN:.0%} between them, where the device withstands it",
            )


@rule("ovp-at-sense", Severity.CAUTION)
@of_every(outputs)
def ovp_at_sense(source: FedInput, name: OutputName, output: Output) -> Outcome:
    """An OVP that looks at the sense leads does not see the terminals when a sense lead comes off."""
    if source.senses and output.ovp is not None and output.ovp.at == "sense":
        yield Hit(
            source.name,
            (*source.at_hook_up, "sense"),
            state(
                "the OVP of {output} looks at the sense leads: with one of them open it sees too "
                "little, while the terminals may rise to {reach}",
                output=name,
                reach=(source.reach, "V"),
            ),
            "secure the sense leads, or sense at the terminals",
        )


@rule("trip-delay-range", Severity.STOP)
def trip_delay_range(context: Context) -> Outcome:
    """A trip delay is outside the output's range."""
    yield from settings_judged(context, "trip_delay", lambda source, _: trip_delay.in_range(source))


@rule("opp-range", Severity.STOP)
def opp_range(context: Context) -> Outcome:
    """An over-power level is outside the output's range, or the bench names no such protection of it."""
    yield from _without(context, "opp", "over-power protection")
    yield from settings_judged(context, "opp", lambda source, _: power.in_range(source))


@rule("ocp-range", Severity.STOP)
def ocp_range(context: Context) -> Outcome:
    """Level or delay of an over-current protection is outside the output's range, or the bench does not say
    that the output has one apart from its current limit.
    """
    yield from _without(context, "ocp", "over-current protection apart from its limit")
    yield from settings_judged(context, "ocp", lambda source, _: current_limit.ocp_in_range(source))
    yield from settings_judged(
        context, "ocp_delay", lambda source, _: current_limit.ocp_delay_in_range(source)
    )


def _without(context: Context, setting: str, title: str) -> Outcome:
    """Outputs of which the bench names no protection that the procedure asks for."""
    leave = "" if setting == "ovp" else f"leave '{setting}' out, "
    for source, feed in context.having(setting):
        for name in source.without(setting) if math.isfinite(feed.value(setting)) else ():
            yield Hit(
                source.name,
                (*source.at_limits, setting),
                state(
                    "the bench does not say that {output} has an {protection}", output=name, protection=title
                ),
                f"{leave}take another output, or give its '{setting}' in the bench document",
            )


@rule("ocp-below-need", Severity.STOP)
def ocp_below_need(context: Context) -> Outcome:
    """The over-current protection trips at what normal operation draws."""
    yield from settings_judged(context, "ocp", lambda source, _: current_limit.ocp_needed(source))


@rule("opp-below-need", Severity.STOP)
def opp_below_need(context: Context) -> Outcome:
    """The over-power protection trips at what normal operation draws."""
    yield from settings_judged(context, "opp", lambda source, _: power.steady(source))


@rule("ocp-above-limit", Severity.NOTE)
@of_every(having("current_limit"))
def ocp_above_limit(source: FedInput, feed: Feed) -> Outcome:
    """The current limit holds the current below the level of the over-current protection."""
    level, least = feed.ocp, source.at_most(feed.limit)
    if math.isfinite(level) and level > least:
        yield Hit(
            source.name,
            (*source.at_limits, "ocp"),
            state(
                "the current limit, {limit} with programming error, holds the current below the {ocp} at "
                "which it acts: only what the limit is too slow for reaches it",
                limit=(least, "A"),
                ocp=(level, "A"),
            ),
            "lower 'ocp' below the current limit if it is meant to act first",
        )


@rule("trip-before-charged", Severity.CAUTION)
def trip_before_charged(context: Context) -> Outcome:
    """By C·V / (I_limit − I_load), charging at the current limit may last longer than the trip delay."""
    yield from settings_judged(context, "trip_delay", trip_delay.charged)


@rule("never-after-trip", Severity.CAUTION)
@of_every(kept_apart)
def never_after_trip(index: int, never: NeverRule, first: FedInput, second: FedInput) -> Outcome:
    """One input tripping alone leaves a difference of two inputs' voltages outside what it may be."""
    for tripped, left, sign in ((first, second, -1.0), (second, first, 1.0)):
        worst = left.played.highest
        if worst is not None and tripped.name not in left.limits.trips_when:
            difference = sign * left.input.sign * worst.voltage
            if difference not in never.outside:
                yield Hit(
                    left.name,
                    (*left.at_limits, "trips_when"),
                    state(
                        "if {tripped} trips while {left} stands at {highest}, {input} minus {other} becomes "
                        "{difference}, outside {permitted} (rule {rule_number} of 'never')",
                        tripped=tripped.name,
                        left=left.name,
                        highest=(worst.voltage, "V"),
                        input=never.voltage_of,
                        other=never.minus,
                        difference=(difference, "V"),
                        permitted=Statement(
                            never.outside.text,
                            (
                                StatedFigure("low", never.outside.low, "V"),
                                StatedFigure("high", never.outside.high, "V"),
                            ),
                        ),
                        rule_number=index + 1,
                    ),
                    f"write 'trips_when: [{tripped.name}]' in the limits of {left.name}",
                )


@rule("linked-trip-by-program", Severity.NOTE, worst=Ranking("interval"))
def linked_trip_by_program(context: Context) -> Outcome:
    """A linked trip is carried out by the program, not by an instrument: no supply links the two."""
    feeds, every = context.plan.set_points, context.procedure.record.every
    for (name, other), delay in linked_by_program(feeds, context.bench, every).items():
        source = context.sources[name]
        supplies = dict.fromkeys(each.supply for each in (*source.outputs, *context.sources[other].outputs))
        unable = dict.fromkeys(
            context.bench.supplies[each].dialect.name
            for each in supplies
            if context.bench.supplies[each].dialect.link is None
        )
        path = (*source.at_limits, "trips_when") if other != name else source.at_hook_up
        pair = state("the outputs of {input}", input=name)
        if other != name:
            pair = state("{input} and {other}", input=name, other=other)
        because = state("are not linked by dialect '{dialect}'", dialect=", ".join(unable))
        if len(supplies) > 1:
            names = ", ".join(sorted(supplies))
            because = state("are fed by different supplies ({supplies})", supplies=names)
        unknown = [each for each in supplies if context.bench.supplies[each].exchange is None]
        taken = state("as the bench says")
        if unknown:
            taken = state(
                "taken, as the bench gives no 'exchange' of {supplies}", supplies=", ".join(unknown)
            )
        yield Hit(
            name,
            path,
            state(
                "{pair} {because}: the program reads the status every {interval}, and switches {input} off "
                "within {delay} of the trip, where an exchange takes {exchange} at most ({taken})",
                pair=pair,
                because=because,
                interval=(look_interval(every), "s"),
                input=name,
                delay=(delay, "s"),
                exchange=(
                    exchange_of((*source.outputs, *context.sources[other].outputs), context.bench),
                    "s",
                ),
                taken=taken,
            ),
            "if that is too slow, feed both from one supply that links trips",
        )
