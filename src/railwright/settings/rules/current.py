"""Rules about current and power: ranges, what is needed, what the device bears, what the load model draws."""

from __future__ import annotations

from railwright.quantities import show
from railwright.settings.constraints import current_limit
from railwright.settings.constraints.power import given
from railwright.settings.context import Context, FedInput
from railwright.settings.findings import Severity
from railwright.settings.rule import Hit, Outcome, Path, Unknown, rule
from railwright.settings.rules.judge import judged, settings_judged
from railwright.settings.windows import rise
from railwright.settings.windows.current_limit import HEADROOM


@rule("current-range", Severity.STOP)
def current_range(context: Context) -> Outcome:
    """A current limit is outside the output's range."""
    yield from settings_judged(context, "current_limit", lambda source, _: current_limit.in_range(source))


@rule("power-range", Severity.STOP)
def power_range(context: Context) -> Outcome:
    """The steady power that is needed is more than the output can give."""
    for source in context.sources.values():
        powers = [(power, level.path) for level, _, power in source.powers(source.full_power)]
        yield from judged(source, given(source), *powers, once=True)


@rule("power-before-limit", Severity.NOTE)
def power_before_limit(context: Context) -> Outcome:
    """The output reaches its power rating before its current limit (CP)."""
    for source, feed in context.having("current_limit"):
        highest = source.played.highest
        if highest is None:
            continue
        for points, output, share in zip(feed.outputs, source.rows, source.shares, strict=True):
            power = highest.voltage * share * points.current_limit
            if output.power is not None and power > output.power:
                yield Hit(
                    source.name,
                    (*source.at_limits, "current_limit"),
                    f"at {show(highest.voltage * share, 'V')} the limit of "
                    f"{show(points.current_limit, 'A')} would be "
                    f"{show(power, 'W')}; {points.output} gives {show(output.power, 'W')} and limits at "
                    f"{show(output.power / (highest.voltage * share), 'A')}",
                    "mind that the power limit acts first, and does not trip as the current limit does",
                )


@rule("limit-below-need", Severity.STOP)
def limit_below_need(context: Context) -> Outcome:
    """The current limit, less its error, does not carry what normal operation draws."""
    yield from settings_judged(context, "current_limit", lambda source, _: current_limit.enough(source))


@rule("limit-headroom", Severity.CAUTION, on_sheet=False)
def limit_headroom(context: Context) -> Outcome:
    """The current limit, less its error, is less than 10 % above what normal operation draws."""
    for source, feed in context.having("current_limit"):
        limit = source.limit(feed)
        if source.needs is None:
            continue
        need, need_from, _ = source.needs
        least = source.surely(limit)
        if need <= least < HEADROOM * need:
            yield Hit(
                source.name,
                (*source.at_limits, "current_limit"),
                f"the limit, {show(least, 'A')} with programming error, is only {least / need - 1:.1%} above "
                f"{need_from}, {show(need, 'A')}",
                f"raise the limit to {show(HEADROOM * need, 'A')} or more, where device and lead bear it",
            )


@rule("limit-above-device", Severity.STOP)
def limit_above_device(context: Context) -> Outcome:
    """The current limit, with its error, lets through more than does the input no harm."""
    yield from settings_judged(context, "current_limit", lambda source, _: current_limit.device(source))


@rule("declared-current", Severity.CAUTION, on_sheet=False)
def declared_current(context: Context) -> Outcome:
    """The load model draws, over the operating range, something else than the declared steady current."""
    for source in context.sources.values():
        declared = source.input.current.steady
        if declared is None:
            path = (*source.at_input, "current")
            yield Unknown(source.name, path, "declared steady current", "the load model against it")
            continue
        operating = source.input.operating
        drawn = source.load.over(max(operating.low, 1e-3), operating.high)
        if drawn is None:
            continue
        bounds, at = drawn
        if bounds.high > declared.high * (1 + 1e-9) or bounds.low < declared.low * (1 - 1e-9):
            yield Hit(
                source.name,
                (*source.at_input, "current", "steady"),
                f"declared {show(declared.low, 'A')} to {show(declared.high, 'A')}; the load model draws "
                f"{show(bounds.low, 'A')} to {show(bounds.high, 'A')} over the operating range (most at "
                f"{at:.3g} V)",
                "correct the declared current or the load model: one of them is wrong",
            )


@rule("ramp-in-limit", Severity.NOTE)
def ramp_in_limit(context: Context) -> Outcome:
    """A slope that is asked for needs more current than the limit: the input charges at the limit instead."""
    for source, feed in context.having("current_limit"):
        limit = source.limit(feed)
        least = source.surely(limit)
        charging = source.longest_charging(least)
        if charging is None or charging.move.rate is None:
            continue
        needed = charging.capacitance * charging.move.rate
        takes = f"up to {show(charging.time, 's')}" if charging.time < float("inf") else "for ever"
        yield Hit(
            source.name,
            charging.move.path,
            f"{show(charging.move.rate, 'V/s')} into {show(charging.capacitance, 'F')} (the output's own "
            f"with it) "
            f"asks for {show(needed, 'A')} beside the load; the limit is {show(limit, 'A')}, less its error "
            f"{show(least, 'A')}: it takes {takes}",
            _slower(context, source, charging.move.path, limit),
        )


def _slower(context: Context, source: FedInput, path: Path, limit: float) -> str:
    """What to do where a current limit [A] acts on the way up: of a power-up, by the window of its rise."""
    meant = "if the limit is not meant to act"
    if path[1] != "steps" or "power_up" not in path:
        return f"rise more slowly {meant}"
    found = rise.window(source, context.documents, limit, int(path[2]))
    low, high = (None, None) if found is None else (found.low, found.high)
    if low is None or high is None:
        return f"rise more slowly {meant}"
    if low.value <= high.value:
        within = f"{show(low.value, 'V/s', 5)} to {show(high.value, 'V/s', 5)}"
        return f"rise within its window, {within}, {meant}"
    return (
        f"no slower rise will do, as {low.why}, which takes {show(low.value, 'V/s', 5)}: "
        f"{high.relax(low.value)} {meant}"
    )


@rule("limit-at-low-voltage", Severity.CAUTION, on_sheet=False)
def limit_at_low_voltage(context: Context) -> Outcome:
    """Played downwards, a converter asks for more than the current limit before it stops."""
    for source, feed in context.having("current_limit"):
        least = source.surely(source.limit(feed))
        for low, drawn in source.load.just_above_stopping:
            falling = [each for each in source.played.moves if each.stop < min(each.start, low * 1.2)]
            if not falling or drawn <= least:
                continue
            yield Hit(
                source.name,
                falling[0].path,
                f"'{falling[0].step}' plays down to {show(falling[0].stop, 'V')}; just above its lowest "
                f"stopping "
                f"voltage, {show(low, 'V')}, the load model draws {show(drawn, 'A')}, and the limit "
                f"may be as "
                f"low as {show(least, 'A')}: the output leaves CV before the converter stops",
                "raise the current limit, or mind it in the turn-off voltage that is measured",
            )


@rule("power-headroom", Severity.CAUTION, on_sheet=False)
def power_headroom(context: Context) -> Outcome:
    """The steady power that is needed comes within 10 % of what the output can give."""
    for source in context.sources.values():
        full = source.full_power
        if any(output.power is None for output in source.rows):
            continue
        for level, drawn, power in source.powers(full):
            if power <= full < HEADROOM * power:
                yield Hit(
                    source.name,
                    level.path,
                    f"{show(level.voltage, 'V')} with up to {show(drawn, 'A')} needs {show(power, 'W')} of "
                    f"the {show(full, 'W')} that {', '.join(source.outputs)} can give",
                    "take a stronger output, or join outputs",
                )
                break
