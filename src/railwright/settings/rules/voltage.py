"""Rules about voltages: ranges, what the input withstands, what can be touched, isolation."""

from __future__ import annotations

import math
from collections.abc import Sequence

from railwright.grouping import grouped
from railwright.quantities import Statement, joined, listed, show, state
from railwright.settings.constraints.outputs import highest, isolated, lowest
from railwright.settings.context import Context, FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rule import Hit, Outcome, Unknown, of_every, rule
from railwright.settings.rules.judge import inputs, judged

TOUCH_LIMIT = {"dry": 60.0, "wet": 35.0}
"""Voltage above which a part counts as dangerous to touch in normal condition, d.c. [V] (IEC 61010-1, from
memory).
"""
FEW_LEVELS = 3
"""Voltages outside an operating range that are told one by one (chosen)."""
WHO_DECIDES = "local codes and competent persons decide"
"""Said where a remedy is a matter of safety at work."""

COVER = "cover the connections before switching on"
"""What to do where a voltage is dangerous to touch."""

EXTRA_LOW_VOLTAGE = 120.0
"""End of extra-low voltage, d.c. [V] (IEC 61140, from memory)."""


@rule("voltage-range", Severity.STOP)
@of_every(inputs)
def voltage_range(source: FedInput) -> Outcome:
    """A voltage played, with the drop that sensing makes up for, is outside the output's range."""
    levels = ((level.voltage, level.path) for level in source.played.levels)
    yield from judged(source, [highest(source), lowest(source)], *levels)


@rule("withstand-played", Severity.STOP, worst=Ranking("highest", over="withstood"))
@of_every(inputs)
def withstand_played(source: FedInput) -> Outcome:
    """A voltage played, with its error, is more than the input withstands, or withstands for that long."""
    withstood = source.input.withstood
    if not withstood:
        yield Unknown(
            source.name,
            (*source.at_input, "withstands"),
            "what the input withstands",
            "the voltages played against it",
        )
        return
    for level in sorted(source.played.levels, key=lambda level: -level.voltage):
        highest = source.voltage_with_error(level.voltage)
        allowed = max((lasts for volts, lasts in withstood if volts >= highest), default=0.0)
        if allowed == 0.0:
            why = state(
                "{highest} (with programming error) is more than the {withstood} it withstands",
                highest=(highest, "V"),
                withstood=(max(volts for volts, _ in withstood), "V"),
            )
        elif math.isinf(allowed):
            return  # and so it is for every lower level
        else:
            below = max((volts for volts, _ in withstood if volts < highest), default=0.0)
            held = source.played.longest_above(below)
            if held <= allowed:
                continue
            why = state(
                "it is above {above} for {held}; the input withstands {highest} for {allowed}",
                above=(below, "V"),
                held=(held, "s"),
                highest=(highest, "V"),
                allowed=(allowed, "s"),
            )
        yield Hit(source.name, level.path, why, "play a lower voltage, or play it for a shorter time")
        return


@rule("reversed", Severity.STOP, worst=Ranking("level"))
@of_every(inputs)
def reversed_voltage(source: FedInput) -> Outcome:
    """A voltage played is negative: more than the reverse voltage that the input withstands, and no diode in
    a fixture keeps it off.
    """
    # A diode blocks: nothing reversed reaches the input.
    if source.fixture is None or source.fixture.diode is None:
        reverse = max((volts for volts, _ in source.input.withstood_reversed), default=0.0)
        diode = source.input.diode_inside
        for level in source.played.levels:
            if level.voltage < -reverse and diode is not None and diode.blocks is None:
                yield Unknown(
                    source.name,
                    (*source.at_inside, "diode"),
                    "reverse voltage that the diode inside blocks",
                    "the negative voltage that is played",
                )
                return
            if level.voltage < 0 and -level.voltage > reverse:
                yield Hit(
                    source.name,
                    level.path,
                    state(
                        "{level} reverses the input, which withstands {withstood} in reverse",
                        level=(level.voltage, "V"),
                        withstood=(reverse, "V"),
                    ),
                    "play no negative voltage on this input",
                )


@rule("outside-operating", Severity.NOTE, worst=Ranking("outside_for"))
@of_every(inputs)
def outside_operating(source: FedInput) -> Outcome:
    """A voltage played is outside the input's operating range."""
    operating = source.input.operating
    outside = grouped(
        (level.path[2], level) for level in source.played.levels if level.voltage not in operating
    )
    when = source.played.outside(operating) if outside else {}
    for step, levels in outside.items():
        yield Hit(
            source.name,
            levels[0].path,
            state(
                "'{step}' plays {levels}{when}; the operating range is {low} to {high}",
                step=levels[0].step,
                levels=joined(
                    " and ",
                    (
                        _several(side)
                        for side in (
                            [v.voltage for v in levels if v.voltage < operating.low],
                            [v.voltage for v in levels if v.voltage > operating.high],
                        )
                        if side
                    ),
                ),
                when=_when(when[int(step)]) if step in when else "",
                low=(operating.low, "V"),
                high=(operating.high, "V"),
            ),
            "check that this is intended",
        )


def _when(outside: Sequence[tuple[float, float]]) -> Statement:
    """From when to when the set point is outside, and how long. outside: each time that it is [s]."""
    lengths = [end - start for start, end in outside]
    if len(lengths) == 1:
        return state(
            ", outside from {outside_from} to {outside_to} of the procedure ({outside_for})",
            outside_from=(outside[0][0], "s"),
            outside_to=(outside[-1][1], "s"),
            outside_for=(sum(lengths), "s"),
        )
    return state(
        ", outside {times} times from {outside_from} to {outside_to} of the procedure ({outside_for} in all, "
        "at most {longest} on end)",
        times=len(lengths),
        outside_from=(outside[0][0], "s"),
        outside_to=(outside[-1][1], "s"),
        outside_for=(sum(lengths), "s"),
        longest=(max(lengths), "s"),
    )


def _several(voltages: list[float]) -> Statement:
    """Some voltages, for people: one by one where they are few, as printed, else from the lowest to the
    highest.
    """
    shown = {show(voltage, "V") for voltage in voltages}
    if len(shown) <= FEW_LEVELS:
        return listed("level", voltages, "V")
    return state(
        "{lowest} to {highest} ({levels} voltages)",
        lowest=(min(voltages), "V"),
        highest=(max(voltages), "V"),
        levels=len(shown),
    )


@rule("touch-voltage", Severity.CAUTION, worst=Ranking("reach"))
def touch_voltage(context: Context) -> Outcome:
    """The voltage that the outputs can reach counts as dangerous to touch where the bench stands."""
    touch = TOUCH_LIMIT[context.bench.location]
    for source in (each for each in context.sources.values() if each.farthest > touch):
        reach, highest = source.farthest, source.played.highest
        normal = beyond = ""
        if highest is not None and highest.voltage > touch:
            normal = state(
                "; {highest}, which the procedure sets, is itself above that", highest=(highest.voltage, "V")
            )
        if reach > EXTRA_LOW_VOLTAGE:
            beyond = state(
                "; the outputs reach beyond extra-low voltage too ({extra_low}, IEC 61140)",
                extra_low=(EXTRA_LOW_VOLTAGE, "V"),
            )
        yield Hit(
            source.name,
            source.at_hook_up,
            state(
                "{outputs} can reach {reach}, whatever is set; above {touch} d.c. counts as dangerous to "
                "touch in a {location} place (IEC 61010-1, from memory){normal}{beyond}",
                outputs=", ".join(source.outputs),
                reach=(reach, "V"),
                touch=(touch, "V"),
                location=context.bench.location,
                normal=normal,
                beyond=beyond,
            ),
            f"{COVER}; {WHO_DECIDES}",
        )


@rule("isolation", Severity.STOP)
@of_every(inputs)
def isolation(source: FedInput) -> Outcome:
    """Outputs in series, or of a negative rail, lift a terminal beyond the supply's isolation from earth."""
    for fact in isolated(source):
        yield from judged(source, [fact], (source.farthest, source.at_hook_up))
