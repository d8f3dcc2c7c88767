"""Rules about order and time: power-up order, voltages that must not differ, slopes, dwell."""

from __future__ import annotations

import math
from collections.abc import Iterator

from railwright.documents.device import NeverRule, OrderRule
from railwright.documents.procedure import PowerDown, PowerUp
from railwright.plan.set_point import instants
from railwright.plan.stairs import exchange_of, stair_count
from railwright.quantities import show, state
from railwright.settings.constraints.rise import falling, fast_output, slow_output
from railwright.settings.context import Context, FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rule import Hit, Outcome, of_every, rule, with_seen
from railwright.settings.rules.judge import inputs, judged, kept_apart


def _pairs(context: Context, switching: PowerUp | PowerDown | None) -> Iterator[tuple[OrderRule, int]]:
    """What the device asks of the order of two inputs that both have a turn, and how many turns the one that
    is to follow comes later.
    """
    turn = {name: position for position, name in enumerate(switching.order if switching else ())}
    return (
        (order, turn[order.then] - turn[order.after])
        for order in context.device.order
        if order.after in turn and order.then in turn
    )


@rule("order-broken", Severity.STOP)
def order_broken(context: Context) -> Outcome:
    """A power-up brings inputs up in another order, or with another delay, than the device asks for."""
    for index, step in enumerate(context.procedure.steps):
        path = ("procedure", "steps", index, "power_up")
        for order, turns in _pairs(context, step.power_up):
            delay = turns * (step.power_up.gap if step.power_up else 0.0)
            if turns < 0:
                yield Hit(
                    order.then,
                    (*path, "order"),
                    state(
                        "'{step}' switches {then} on before {after}; the device wants {after} first",
                        step=step.called(index),
                        then=order.then,
                        after=order.after,
                    ),
                    "change the order",
                )
            elif delay not in order.delay:
                yield Hit(
                    order.then,
                    (*path, "gap"),
                    state(
                        "{then} is switched on {delay} after {after}; the device wants {low} to {high}",
                        then=order.then,
                        delay=(delay, "s"),
                        after=order.after,
                        low=(order.delay.low, "s"),
                        high=(order.delay.high, "s"),
                    ),
                    "change the gap",
                )


@rule("order-down", Severity.NOTE)
def order_down(context: Context) -> Outcome:
    """A power-down takes inputs down in the order in which they come up, not in reverse (common practice)."""
    for index, step in enumerate(context.procedure.steps):
        for order, turns in _pairs(context, step.power_down):
            if turns > 0:
                yield Hit(
                    order.then,
                    ("procedure", "steps", index, "power_down", "order"),
                    state(
                        "{after} goes off before {then}, which comes up after it",
                        after=order.after,
                        then=order.then,
                    ),
                    f"switch {order.then} off first, if nothing forbids it",
                )


@rule("never-played", Severity.STOP)
@of_every(with_seen(kept_apart))
def never_played(
    context: Context, index: int, never: NeverRule, first: FedInput, second: FedInput
) -> Outcome:
    """The set points of two inputs differ, at some instant, by more than the device permits."""
    (low, high), (other_low, other_high) = first.played.reach, second.played.reach
    if never.outside.low <= low - other_high and high - other_low <= never.outside.high:
        return  # whatever stands there at the same time
    apart = (
        (time, first.input.sign * one - second.input.sign * other)
        for time, one, other in instants(first.played.pieces, second.played.pieces)
    )
    time, difference = max(apart, key=lambda each: never.outside.beyond(each[1]))
    if never.outside.beyond(difference) > 1e-9:
        step = next((n for n, s in enumerate(context.timeline.spans) if s.start <= time <= s.end), 0)
        yield Hit(
            never.voltage_of,
            ("procedure", "steps", step),
            state(
                "{input} minus {other} is set to {difference} at {time}; it must stay within {low} to {high} "
                "(rule {rule_number} of 'never')",
                input=never.voltage_of,
                other=never.minus,
                difference=(difference, "V"),
                time=(time, "s"),
                low=(never.outside.low, "V"),
                high=(never.outside.high, "V"),
                rule_number=index + 1,
            ),
            "change the order, the gap or the voltages",
        )


@rule("slew-too-fast", Severity.CAUTION, on_sheet=False)
@of_every(inputs)
def slew_too_fast(source: FedInput) -> Outcome:
    """A slope is asked for that is faster than the output rises."""
    rising = [(rate, slope.path) for slope, rate in source.played.slopes if slope.stop > slope.start]
    yield from judged(source, fast_output(source), *rising) if rising else ()


@rule("slew-out-of-range", Severity.STOP)
@of_every(inputs)
def slew_out_of_range(source: FedInput) -> Outcome:
    """A power-up rises more slowly than the output's programmable slew begins."""
    rises = [(rate, slope.path) for slope, rate in source.played.slopes if "rise" in slope.path]
    yield from judged(source, slow_output(source), *rises)


@rule("ramp-in-stairs", Severity.NOTE)
@of_every(with_seen(inputs))
def ramp_in_stairs(context: Context, source: FedInput) -> Outcome:
    """A line is asked for of outputs that have no slew for it: the host plays it in stairs."""
    changes = [
        (abs(slope.stop - slope.start), rate, slope)
        for slope, rate in source.played.slopes
        if 0.0 < rate < math.inf and slope.stop != slope.start
    ]
    if not changes or all(output.slew is not None for output in source.rows):
        return
    apart = exchange_of(source.outputs, context.bench)
    stairs = (
        (change / stair_count(change, change / rate, None, apart), change, slope)
        for change, rate, slope in changes
    )
    height, change, slope = max(stairs, key=lambda each: each[0])
    count = round(change / height)
    how = (
        state("in {stairs} stairs of {height}, each", stairs=count, height=(height, "V", 3))
        if count != 1
        else "in one step,"
    )
    yield Hit(
        source.name,
        slope.path,
        state(
            "{outputs}: no slew is given, so that the host plays this line {how} as steep as the output "
            "makes it",
            outputs=", ".join(source.outputs),
            how=how,
        ),
        "allow for what each step charges, or take an output with a programmable slew",
    )


@rule("fall-too-fast", Severity.NOTE)
@of_every(inputs)
def fall_too_fast(source: FedInput) -> Outcome:
    """A falling slope is faster than the output falls without load: the load decides how it falls."""
    falls = [(rate, slope.path) for slope, rate in source.played.slopes if slope.stop < slope.start]
    yield from judged(source, falling(source), *falls, once=True) if falls else ()


@rule(
    "dwell-too-short", Severity.CAUTION, on_sheet=False, worst=Ranking("dwell", over="interval", lowest=True)
)
def dwell_too_short(context: Context) -> Outcome:
    """A sweep holds its points for less than three readings: too short to settle and be read."""
    for index, step in enumerate(context.procedure.steps):
        if step.sweep is not None and step.sweep.input in context.sources:
            source = context.sources[step.sweep.input]
            slowest = max([*source.updates, context.procedure.record.every])
            if step.sweep.dwell < 3 * slowest:
                yield Hit(
                    source.name,
                    ("procedure", "steps", index, "sweep", "dwell"),
                    state(
                        "each point is held for {dwell}; a reading comes every {interval}",
                        dwell=(step.sweep.dwell, "s"),
                        interval=(slowest, "s"),
                    ),
                    f"hold each point for {show(3 * slowest, 's')} or more",
                )
