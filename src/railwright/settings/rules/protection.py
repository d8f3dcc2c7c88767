"""Rules about protections: OVP, trip delay, linked trips."""

from __future__ import annotations

import math

from railwright.documents.bench import OverCurrent, OverPower
from railwright.quantities import show
from railwright.settings.context import Context, Source
from railwright.settings.findings import Severity
from railwright.settings.rule import Hit, Outcome, Path, Unknown, rule
from railwright.settings.windows.ovp import OVP_MARGIN


@rule("ovp-range", Severity.STOP)
def ovp_range(context: Context) -> Outcome:
    """An OVP level is outside the output's range, or the bench does not say that the output has an OVP."""
    for source, feed in context.having("ovp"):
        for points in feed.outputs:
            output = context.bench.output(points.output)
            path = (*source.at_limits, "ovp")
            if output.ovp is None:
                why = f"the bench does not say that {points.output} has an over-voltage protection"
                yield Hit(
                    source.name, path, why, "take another output, or give its 'ovp' in the bench document"
                )
            elif points.ovp not in output.ovp.level:
                level = output.ovp.level
                yield Hit(
                    source.name,
                    path,
                    f"{show(points.ovp, 'V')} on {points.output}, whose OVP ranges from "
                    f"{show(level.low, 'V')} to "
                    f"{show(level.high, 'V')}",
                    "set a level inside the range",
                )


@rule("ovp-above-withstand", Severity.STOP)
def ovp_above_withstand(context: Context) -> Outcome:
    """The OVP, with its error and what happens while it responds, lets through more than the input
    withstands.
    """
    for source, feed in context.having("ovp"):
        level, accuracy = source.ovp(feed), source.ovp_error
        withstands = source.input.withstands_always
        path = (*source.at_limits, "ovp")
        if withstands is None:
            here = (*source.at_input, "withstands")
            yield Unknown(
                source.name, here, "what the input withstands for any time", "the OVP level against it"
            )
            continue
        if accuracy is None:
            yield Unknown(
                source.name, (*source.at_output, "ovp"), "accuracy of the OVP", "the error of the OVP level"
            )
        steady = level + (accuracy or 0.0)
        if steady > withstands:
            yield Hit(
                source.name,
                path,
                f"the OVP may let {show(steady, 'V')} stand ({show(level, 'V')} with its accuracy); the "
                f"input "
                f"withstands {show(withstands, 'V')}",
                f"set the OVP to {show(withstands - (accuracy or 0.0), 'V')} or less",
            )
            continue
        overshoot, response = source.ovp_overshoot, source.ovp_response
        if overshoot is None or response is None:
            here = (*source.at_output, "ovp")
            yield Unknown(
                source.name,
                here,
                "response of the OVP, or rise of the output",
                "how far it may rise past the level",
            )
            continue
        brief = [
            each.voltage
            for each in source.input.withstands
            if each.voltage is not None and (each.duration is None or each.duration >= response)
        ]
        if steady + overshoot > max(brief):
            yield Hit(
                source.name,
                path,
                f"the voltage may reach {show(steady + overshoot, 'V')} before the OVP acts "
                f"({show(response, 's')} at "
                f"the output's rise); the input withstands {show(max(brief), 'V')} so long",
                f"set the OVP to {show(max(brief) - overshoot - (accuracy or 0.0), 'V')} or less",
            )


@rule("ovp-below-played", Severity.STOP)
def ovp_below_played(context: Context) -> Outcome:
    """The OVP, with its error, trips at a voltage that the procedure plays."""
    # Where the current limit is not settled and the drop on the lead is sensed away, `highest` is nan.
    for source, feed in context.having("ovp"):
        highest, level = source.highest_terminals(source.limit(feed)), source.ovp(feed)
        if highest is None:
            if source.played.highest is not None:
                path = (*source.at_output, "programming")
                yield Unknown(
                    source.name, path, "accuracy of the set voltage", "the OVP against the highest voltage"
                )
            continue
        least = level - (source.ovp_error or 0.0)
        if least <= highest:
            assert source.played.highest is not None
            yield Hit(
                source.name,
                (*source.at_limits, "ovp"),
                f"the OVP may trip from {show(least, 'V')} on; '{source.played.highest.step}' plays "
                f"{show(source.played.highest.voltage, 'V')}, up to {show(highest, 'V')} at the "
                f"terminals with "
                "programming error and sensed drop",
                "raise the OVP where the device withstands it, or play a lower voltage",
            )


@rule("ovp-close", Severity.CAUTION)
def ovp_close(context: Context) -> Outcome:
    """The OVP, with its error, is less than 3 % above the highest voltage played: it may trip needlessly."""
    # Where the current limit is not settled and the drop on the lead is sensed away, `highest` is nan.
    for source, feed in context.having("ovp"):
        highest, level = source.highest_terminals(source.limit(feed)), source.ovp(feed)
        if highest is None:
            continue
        least = level - (source.ovp_error or 0.0)
        if highest < least < highest * (1 + OVP_MARGIN):
            yield Hit(
                source.name,
                (*source.at_limits, "ovp"),
                f"the OVP may trip from {show(least, 'V')} on, {show(least - highest, 'V')} above the "
                f"highest voltage "
                f"at the terminals, {show(highest, 'V')}",
                f"leave {OVP_MARGIN:.0%} between them, where the device withstands it",
            )


@rule("ovp-at-sense", Severity.CAUTION)
def ovp_at_sense(context: Context) -> Outcome:
    """An OVP that looks at the sense leads does not see the terminals when a sense lead comes off."""
    for source, _ in context.having():
        for name, output in source.outputs.items():
            if source.senses and output.ovp is not None and output.ovp.at == "sense":
                yield Hit(
                    source.name,
                    (*source.at_hook_up, "sense"),
                    f"the OVP of {name} looks at the sense leads: with one of them open it sees too "
                    f"little, while the "
                    f"terminals may rise to {show(source.full_voltage, 'V')}",
                    "secure the sense leads, or sense at the terminals",
                )


@rule("trip-delay-range", Severity.STOP)
def trip_delay_range(context: Context) -> Outcome:
    """A trip delay is outside the output's range."""
    for source, feed in context.having("trip_delay"):
        for points in feed.outputs:
            if points.at_limit != "trip":
                continue
            output = context.bench.output(points.output)
            path = (*source.at_limits, "trip_delay")
            if output.trip_delay is None:
                yield Unknown(
                    points.output, source.at_output, "range of the trip delay", f"the delay of {source.name}"
                )
            elif points.trip_delay not in output.trip_delay:
                reach = output.trip_delay
                yield Hit(
                    source.name,
                    path,
                    f"{show(points.trip_delay, 's')} on {points.output}, whose range is "
                    f"{show(reach.low, 's')} to "
                    f"{show(reach.high, 's')}",
                    "set a delay inside the range",
                )


@rule("opp-range", Severity.STOP)
def opp_range(context: Context) -> Outcome:
    """An over-power level is outside the output's range, or the bench names no such protection of it."""
    for source, feed in context.having("opp"):
        for points in feed.outputs:
            protection = context.bench.output(points.output).opp
            path = (*source.at_limits, "opp")
            if math.isinf(points.opp) or (protection is not None and points.opp in protection.level):
                continue
            yield _cannot(source, path, points.output, "opp", "over-power", show(points.opp, "W"), protection)


@rule("ocp-range", Severity.STOP)
def ocp_range(context: Context) -> Outcome:
    """Level or delay of an over-current protection is outside the output's range, or the bench does not say
    that the output has one apart from its current limit.
    """
    for source, feed in context.having():
        for points in feed.outputs:
            protection = context.bench.output(points.output).ocp
            path = (*source.at_limits, "ocp")
            if math.isinf(points.ocp):
                continue
            if protection is None or points.ocp not in protection.level:
                level = show(points.ocp, "A")
                yield _cannot(source, path, points.output, "ocp", "over-current", level, protection)
                continue
            delay = points.ocp_delay
            if delay not in protection.delay if protection.delay else delay > 0.0:
                reach = protection.delay.text if protection.delay else "none that can be set"
                yield Hit(
                    source.name,
                    (*source.at_limits, "ocp_delay"),
                    f"{show(delay, 's')} on {points.output}, whose over-current protection has a delay of "
                    f"{reach}",
                    "set a delay inside the range, or leave it out",
                )


def _cannot(
    source: Source,
    path: Path,
    output: str,
    key: str,
    what: str,
    level: str,
    protection: OverPower | OverCurrent | None,
) -> Hit:
    if protection is None:
        return Hit(
            source.name,
            path,
            f"the bench does not say that {output} has an {what} protection apart from its limit",
            f"leave '{key}' out, take another output, or give its '{key}' in the bench document",
        )
    return Hit(
        source.name,
        path,
        f"{level} on {output}, whose {what} protection ranges over {protection.level.text}",
        "set a level inside the range",
    )


@rule("ocp-below-need", Severity.STOP)
def ocp_below_need(context: Context) -> Outcome:
    """The over-current protection trips at what normal operation draws."""
    for source, feed in context.having():
        level = source.ocp(feed)
        if source.needs is not None and level <= source.needs[0]:
            yield Hit(
                source.name,
                (*source.at_limits, "ocp"),
                f"it acts from {show(level, 'A')} on; {source.needs[1]} is {show(source.needs[0], 'A')}",
                "raise 'ocp', or leave it out",
            )


@rule("opp-below-need", Severity.STOP)
def opp_below_need(context: Context) -> Outcome:
    """The over-power protection trips at what normal operation draws."""
    for source, feed in context.having("opp"):
        level = source.opp(feed)
        for played, drawn, power in source.powers(level):
            if power >= level:
                yield Hit(
                    source.name,
                    (*source.at_limits, "opp"),
                    f"it acts from {show(level, 'W')} on; '{played.step}' plays {show(played.voltage, 'V')} "
                    f"with up to {show(drawn, 'A')}, {show(power, 'W')}",
                    "raise 'opp', or leave it out",
                )
                break


@rule("ocp-above-limit", Severity.NOTE)
def ocp_above_limit(context: Context) -> Outcome:
    """The current limit holds the current below the level of the over-current protection."""
    for source, feed in context.having("current_limit"):
        level, limit = source.ocp(feed), source.limit(feed)
        least = limit + (source.limit_error(limit) or 0.0)
        if math.isfinite(level) and level > least:
            yield Hit(
                source.name,
                (*source.at_limits, "ocp"),
                f"the current limit, {show(least, 'A')} with programming error, holds the current below the "
                f"{show(level, 'A')} at which it acts: only what the limit is too slow for reaches it",
                "lower 'ocp' below the current limit if it is meant to act first",
            )


@rule("trip-before-charged", Severity.CAUTION)
def trip_before_charged(context: Context) -> Outcome:
    """By C·V / (I_limit − I_load), charging at the current limit may last longer than the trip delay."""
    for source, feed in context.having("current_limit", "trip_delay"):
        points, limit = feed.outputs[0], source.limit(feed)
        least = limit - (source.limit_error(limit) or 0.0)
        charging = source.longest_charging(least)
        if points.at_limit == "trip" and charging is not None and points.trip_delay < charging.time:
            takes = show(charging.time, "s") if charging.time < float("inf") else "for ever"
            yield Hit(
                source.name,
                (*source.at_limits, "trip_delay"),
                f"{charging.words} (the output's own with it) at {show(least, 'A')} beside the load may take "
                f"{takes}; the trip delay is {show(points.trip_delay, 's')}",
                "lengthen the delay, raise the limit, or rise more slowly",
            )


@rule("never-after-trip", Severity.CAUTION)
def never_after_trip(context: Context) -> Outcome:
    """One input tripping alone leaves a difference of two inputs' voltages outside what it may be."""
    for index, never in enumerate(context.device.never):
        if never.voltage_of not in context.drafts or never.minus not in context.drafts:
            continue
        for tripped, left, sign in (
            (never.voltage_of, never.minus, -1.0),
            (never.minus, never.voltage_of, 1.0),
        ):
            levels = context.sources[left].played.levels
            if not levels or tripped in context.drafts[left].feed.trips_when:
                continue
            worst = max(levels, key=lambda level: level.voltage)
            difference = sign * context.sources[left].input.sign * worst.voltage
            if difference not in never.outside:
                yield Hit(
                    left,
                    (*context.sources[left].at_limits, "trips_when"),
                    f"if {tripped} trips while {left} stands at {show(worst.voltage, 'V')}, "
                    f"{never.voltage_of} minus "
                    f"{never.minus} becomes {show(difference, 'V')}, outside {never.outside.text} (rule "
                    f"{index + 1} of "
                    "'never')",
                    f"write 'trips_when: [{tripped}]' in the limits of {left}",
                )


@rule("linked-trip-by-program", Severity.NOTE)
def linked_trip_by_program(context: Context) -> Outcome:
    """A linked trip between outputs of different supplies is carried out by the program, not by an
    instrument.
    """
    for source, feed in context.having():
        own = {name.supply for name in source.outputs}
        for other in feed.trips_when:
            if other not in context.sources:
                continue
            theirs = {name.supply for name in context.sources[other].outputs}
            if own != theirs:
                yield Hit(
                    source.name,
                    (*source.at_limits, "trips_when"),
                    f"{source.name} and {other} are fed by different supplies "
                    f"({', '.join(sorted(own | theirs))}): the "
                    f"program sees the trip at its next reading, "
                    f"{show(context.procedure.record.every, 's')} apart, and "
                    "then switches off",
                    "feed both from one supply if it must be faster",
                )
