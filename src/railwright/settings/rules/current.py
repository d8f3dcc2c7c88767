"""Rules about current and power: ranges, what is needed, what the device bears, what the load model draws."""

from __future__ import annotations

import math

from railwright.plan.set_points import Feed
from railwright.quantities import round_up, show, state
from railwright.settings.constraints import current_limit
from railwright.settings.constraints.power import given
from railwright.settings.context import Context, Draw, FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rule import Hit, Outcome, Path, Unknown, of_every, rule, with_seen
from railwright.settings.rules.judge import having, inputs, judged, settings_judged
from railwright.settings.windows import rise
from railwright.settings.windows.current_limit import HEADROOM, window


@rule("current-range", Severity.STOP)
def current_range(context: Context) -> Outcome:
    """A current limit is outside the output's range."""
    yield from settings_judged(
        context, "current_limit", lambda source, _: current_limit.range_of(source).ends()
    )


@rule("power-range", Severity.STOP)
@of_every(inputs)
def power_range(source: FedInput) -> Outcome:
    """The steady power that is needed is more than the output can give."""
    powers = ((power, level.path) for level, _, power in source.powers(source.full_power))
    yield from judged(source, given(source), *powers, once=True)


@rule("power-before-limit", Severity.NOTE)
@of_every(having("current_limit"))
def power_before_limit(source: FedInput, feed: Feed) -> Outcome:
    """The output reaches its power rating before its current limit (CP)."""
    highest = source.played.highest
    if highest is not None:
        for points, output, share in zip(feed.outputs, source.rows, source.shares, strict=True):
            power = highest.voltage * share * points.current_limit
            if output.power is not None and power > output.power:
                yield Hit(
                    source.name,
                    (*source.at_limits, "current_limit"),
                    state(
                        "at {highest} the limit of {limit} would be {power_at_limit}; {output} gives "
                        "{power} and limits at {current_at_power}",
                        highest=(highest.voltage * share, "V"),
                        limit=(points.current_limit, "A"),
                        power_at_limit=(power, "W"),
                        output=points.output,
                        power=(output.power, "W"),
                        current_at_power=(output.power / (highest.voltage * share), "A"),
                    ),
                    "note that the power limit acts first, and does not trip as the current limit does",
                )


@rule("limit-below-need", Severity.STOP)
def limit_below_need(context: Context) -> Outcome:
    """The current limit, less its error, does not carry what normal operation draws."""
    yield from settings_judged(context, "current_limit", lambda source, _: current_limit.enough(source))


@rule("limit-headroom", Severity.CAUTION, on_sheet=False, worst=Ranking("headroom", lowest=True))
@of_every(having("current_limit"))
def limit_headroom(source: FedInput, feed: Feed) -> Outcome:
    """The current limit, less its error, is less than 10 % above what normal operation draws."""
    need, need_from, _ = source.needs or Draw(0.0, "", False)
    least = source.surely(feed.limit)
    if source.fed_current is None and need <= least < HEADROOM * need:
        wanted = round_up(current_limit.carrying(source, HEADROOM * need), 4)
        end, remedy = window(source).high, f"raise the limit to {show(wanted, 'A')} or more"
        if end is not None and end.value < wanted:
            other = end.relax(wanted)
            remedy = (
                f"a limit of {show(wanted, 'A')} would leave {HEADROOM - 1:.0%}, and its window ends at "
                f"{show(end.value, 'A')} ({end.why}): "
                f"have the input draw less{other and f', or take {other}'}"
            )
        yield Hit(
            source.name,
            (*source.at_limits, "current_limit"),
            state(
                "the limit, {limit} with programming error, is only {headroom:.1%} above {origin}, {needed}",
                limit=(least, "A"),
                headroom=(least / need - 1, "1"),
                origin=need_from,
                needed=(need, "A"),
            ),
            remedy,
        )


@rule("parallel-in-limit", Severity.NOTE)
@of_every(having("current_limit"))
def parallel_in_limit(source: FedInput, feed: Feed) -> Outcome:
    """Outputs in parallel are never set exactly alike: one of them stands in its current limit while another
    holds the voltage. The input is in constant voltage for as long as one of them regulates it.
    """
    need = source.needs or Draw(0.0, "", False)
    least = min(points.current_limit for points in feed.outputs)
    regulated = feed.outputs[0].at_limit == "regulate" and source.fed_current is None
    if source.parallel and regulated and need.current > least:
        yield Hit(
            source.name,
            (*source.at_limits, "current_limit"),
            state(
                "of {outputs} the one that is set a little higher gives what is drawn up to its limit, "
                "{limit}, and with more ({origin}, {needed}) it shows current limit while another holds the "
                "voltage",
                outputs=" and ".join(source.outputs),
                limit=(least, "A"),
                origin=need.words,
                needed=(need.current, "A"),
            ),
            "nothing to do: the input is in constant voltage while one of them regulates it",
        )


@rule("limit-above-device", Severity.STOP)
def limit_above_device(context: Context) -> Outcome:
    """The current limit, with its error, lets through more than does the input no harm."""
    yield from settings_judged(context, "current_limit", lambda source, _: current_limit.device(source))


@rule("limit-overshoot", Severity.CAUTION)
@of_every(having("current_limit"))
def limit_overshoot(source: FedInput, feed: Feed) -> Outcome:
    """Until the current limit has responded, what is played, or a mistyped voltage or a lost sense lead, may
    draw more than the input withstands.
    """
    value = (feed.limit, (*source.at_limits, "current_limit"))
    yield from judged(source, current_limit.responding(source), value)


@rule("declared-current", Severity.CAUTION, on_sheet=False, worst=Ranking("drawn_high", over="declared_high"))
@of_every(inputs)
def declared_current(source: FedInput) -> Outcome:
    """The load model draws, over the operating range, something else than the declared steady current."""
    declared = source.input.current.steady
    if declared is None:
        yield Unknown(
            source.name,
            (*source.at_input, "current"),
            "declared steady current",
            "the load model against it",
        )
        return
    operating = source.input.operating
    drawn = source.enabled_load.over(max(operating.low, 1e-3), operating.high)
    if drawn is not None:
        bounds, at = drawn
        if bounds.high > declared.high * (1 + 1e-9) or bounds.low < declared.low * (1 - 1e-9):
            yield Hit(
                source.name,
                (*source.at_input, "current", "steady"),
                state(
                    "declared {declared_low} to {declared_high}; the load model draws {drawn_low} to "
                    "{drawn_high} over the operating range (most at {drawn_at:.3g} V)",
                    declared_low=(declared.low, "A"),
                    declared_high=(declared.high, "A"),
                    drawn_low=(bounds.low, "A"),
                    drawn_high=(bounds.high, "A"),
                    drawn_at=(at, "V"),
                ),
                "correct the declared current or the load model: one of them is wrong",
            )


@rule("ramp-in-limit", Severity.NOTE, worst=Ranking("needed", over="limit_less_error"))
@of_every(with_seen(having("current_limit")))
def ramp_in_limit(context: Context, source: FedInput, feed: Feed) -> Outcome:
    """A slope that is asked for needs more current than the limit: the input charges at the limit instead."""
    limit, least = feed.limit, source.surely(feed.limit)
    asking = [
        (asked, move)
        for move in source.played.widest_rises
        if move.rate is not None
        and source.fed_current is None
        and source.stays_within(move, least) is False
        and (asked := source.asks_for(move)) is not None
        and math.isfinite(asked)
    ]
    if not asking:
        return
    asked, move = max(asking)
    time = source.rise_takes(move, least, move.rate)
    takes = (
        ""
        if time is None
        else state("up to {rise_time}", rise_time=(time, "s"))
        if math.isfinite(time)
        else "for ever"
    )
    yield Hit(
        source.name,
        move.path,
        state(
            "at {rise} {input} takes {needed} to charge {capacitance} (with the output's own) and feed its "
            "load; the limit is {limit}, {limit_less_error} less its error{takes}",
            input=source.name,
            rise=(move.rate or 0.0, "V/s"),
            capacitance=(source.capacitance, "F"),
            needed=(asked, "A"),
            limit=(limit, "A"),
            limit_less_error=(least, "A"),
            takes=state(", so the rise takes {takes}", takes=takes) if takes else "",
        ),
        _slower(context, source, move.path, limit),
    )


def _slower(context: Context, source: FedInput, path: Path, limit: float) -> str:
    """What to do where a current limit [A] acts on the way up: of a power-up, by the window of its rise."""
    meant = "if the limit is not meant to act,"
    powers_up = path[1] == "steps" and "power_up" in path
    found = rise.window(source, context.documents, limit, int(path[2])) if powers_up else None
    low, high = (None, None) if found is None else (found.low, found.high)
    if low is None or high is None:
        return f"{meant} rise more slowly"
    if low.value <= high.value:
        within = f"{show(low.value, 'V/s', 5)} to {show(high.value, 'V/s', 5)}"
        return f"{meant} set a rise of {within} (its window)"
    if math.isinf(low.value):
        return f"no rise will do, as {low.why}"
    return (
        f"{meant} no slower rise will do, as {low.why}, which takes {show(low.value, 'V/s', 5)}: "
        f"{high.relax(low.value)}"
    )


@rule("limit-at-low-voltage", Severity.CAUTION, on_sheet=False, worst=Ranking("drawn", over="limit"))
@of_every(having("current_limit"))
def limit_at_low_voltage(source: FedInput, feed: Feed) -> Outcome:
    """Played downwards, a converter asks for more than the current limit before it stops."""
    least = source.surely(feed.limit)
    for low, drawn in source.load.just_above_stopping:
        falling = [each for each in source.played.moves if each.stop < min(each.start, low * 1.2)]
        if falling and drawn > least:
            yield Hit(
                source.name,
                falling[0].path,
                state(
                    "'{step}' plays down to {lowest}; just above its lowest stopping voltage, "
                    "{stops_at}, the load model draws {drawn}, and the limit may be as low as {limit}: "
                    "the output leaves CV before the converter stops",
                    step=falling[0].step,
                    lowest=(falling[0].stop, "V"),
                    stops_at=(low, "V"),
                    drawn=(drawn, "A"),
                    limit=(least, "A"),
                ),
                "raise the current limit, or allow for it in the turn-off voltage that is measured",
            )


@rule("power-headroom", Severity.CAUTION, on_sheet=False, worst=Ranking("needed", over="power"))
@of_every(inputs)
def power_headroom(source: FedInput) -> Outcome:
    """The steady power that is needed comes within 10 % of what the output can give."""
    full, rated = source.full_power, all(output.power is not None for output in source.rows)
    close = [
        (level, drawn, power)
        for level, drawn, power in source.powers(full)
        if rated and power <= full < HEADROOM * power
    ]
    for level, drawn, power in close[:1]:
        yield Hit(
            source.name,
            level.path,
            state(
                "{level} with up to {drawn} needs {needed} of the {power} that {outputs} can give",
                level=(level.voltage, "V"),
                drawn=(drawn, "A"),
                needed=(power, "W"),
                power=(full, "W"),
                outputs=", ".join(source.outputs),
            ),
            "take a stronger output, or join outputs",
        )
