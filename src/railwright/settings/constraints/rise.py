"""What the rate of a rise must meet: slow enough for limit and outputs, fast enough for what is asked."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from itertools import chain

from railwright.documents.figures import rated_slew
from railwright.documents.loader import Documents
from railwright.measures.start_up_time import CURRENT_BAND, CURRENT_BAND_OF_LARGEST, VOLTAGE_BAND
from railwright.physics import halving
from railwright.quantities import show, state
from railwright.settings.constraints.constraint import EXACT, Constraint, Facts, threshold
from railwright.settings.context import FedInput
from railwright.settings.group import output_path
from railwright.settings.played import Slope
from railwright.settings.rule import Unknown

EXACTLY = 1.0 + EXACT
SLOWEST, FASTEST, NEARLY = 1e-3, 1e9, 1e-3
"""Rates [V/s] within which one is looked for that stays within a limit, and to which part of that."""
FASTER, HALVINGS = 1e3, 50
"""Rate, in parts of the one that is over just in time, above which none is looked for; and halvings of it."""


def facts(
    source: FedInput,
    rise: Slope,
    documents: Documents,
    limit: float | None,
    limit_for: Callable[[float], str],
) -> Facts:
    """Everything that bounds the rate of a power-up [V/s], written in the step at its path.

    limit [A]: the current limit; None: there is none yet. limit_for: (current that it must carry [A]) -> what
    limit that would be, for people.
    """
    own = Unknown(source.name, (*source.at_output, "output_capacitance"), "the output's own capacitance")
    return chain(
        [own] if source.output_capacitance is None else (),
        within_limit(source, rise, limit, limit_for) if limit is not None else (),
        fast_output(source),
        slow_output(source),
        in_order(source, rise, documents),
        required(source, rise, documents),
    )


def within_limit(
    source: FedInput, rise: Slope, limit: float, limit_for: Callable[[float], str]
) -> Iterator[Constraint]:
    """Charging, beside the load, stays within the current limit, where that is not what feeds the input."""
    if source.fed_current is not None:
        return

    def asks_for(rate: float) -> float:
        return source.asks_for(rise._replace(rate=rate)) or 0.0

    least = source.surely(limit)
    if source.asks_for(rise._replace(rate=1.0)) in (None, math.inf):
        return
    # What charges the capacitance alone asks for the limit at this rate: whatever is drawn beside it, more.
    held = source.capacitance * (1.0 + source.voltage_gain)
    begin = least / held if held > 0.0 else 1.0
    fastest = halving.last_within(asks_for, least, begin, (SLOWEST, FASTEST), NEARLY, HALVINGS)
    without = ", ".join(name for name, output in source.outputs.items() if output.slew is None)
    near = fastest if 0.0 < fastest < math.inf else 1.0
    drawn = asks_for(near) - source.charging_current(near * (1.0 + source.voltage_gain), rise.stop)
    yield Constraint(
        "limit",
        "high",
        fastest,
        lambda rate: source.stays_within(rise._replace(rate=max(rate, SLOWEST)), least * EXACTLY) is True,
        state(
            "{capacitance} and what the load draws on the way up, up to {drawn}, stay within the current "
            "limit of {limit_less_error} (less its error), by C·dV/dt where the output follows without "
            "lag{stairs}",
            capacitance=(source.capacitance, "F"),
            drawn=(drawn, "A"),
            limit_less_error=(least, "A"),
            stairs=f", as a whole: {without} has no slew, and in a stair the limit may act for a while"
            if without
            else "",
        ),
        (*source.at_limits, "current_limit"),
        lambda low: limit_for(asks_for(low)) if 0.0 < low < math.inf else "",
        "ramp-in-limit",
        bracket=True,
    )


def fast_output(source: FedInput) -> Facts:
    """Every output keeps up with its share of it."""
    rates = (o.slew.high if o.slew is not None else rated_slew(o, o.rise) for o in source.rows)
    able, names, check = source.fastest(rates), ", ".join(source.outputs), f"the slopes of {source.name}"
    if able is None:
        figure = "rise or slew of the output"
        yield Unknown(source.name, source.at_output, figure, check, "slew-too-fast", auto=False)
        return

    yield threshold(
        "slew",
        "high",
        able,
        state("{outputs} can rise with {fastest}", outputs=names, fastest=(able, "V/s")),
        (*source.at_output, "slew" if source.rows[0].slew else "rise"),
        lambda low: f"an output that rises with {show(low, 'V/s')}",
        "slew-too-fast",
        lambda rate: (
            state(
                "{rate} is asked for; {outputs} can do {fastest}",
                rate=(rate, "V/s"),
                outputs=names,
                fastest=(able, "V/s"),
            ),
            "rise more slowly, or expect an edge slower than asked",
        ),
    )


def slow_output(source: FedInput) -> Iterator[Constraint]:
    """No output has to rise more slowly than its programmable slew begins."""
    shares = dict(zip(source.names, source.shares, strict=True))
    slews = {name: output.slew.low for name, output in source.outputs.items() if output.slew is not None}
    if not slews:
        return
    name = max(slews, key=lambda each: slews[each] / shares[each])
    own, slowest = slews[name], slews[name] / shares[name]
    together = state(
        ", with which {outputs} rise at {slowest}", outputs=source.words, slowest=(slowest, "V/s")
    )
    why = state(
        "the slew of {output} begins at {range_low}{together}",
        output=name,
        range_low=(own, "V/s"),
        together=together if source.series else "",
    )

    yield threshold(
        "slew",
        "low",
        slowest,
        why,
        (*source.at_output, "slew"),
        lambda high: f"an output whose slew begins at {show(max(0.0, high) * shares[name], 'V/s')}",
        "slew-out-of-range",
        lambda rate: (
            state("{rate} is asked for; {why}", rate=(rate, "V/s"), why=why),
            "rise faster, or play the slope as a shape",
        ),
    )


def falling(source: FedInput) -> Facts:
    """What falls no faster than the outputs do without load [V/s]."""
    for name, output in source.outputs.items():
        if output.fall.unloaded is None:
            yield Unknown(
                name,
                (*output_path(name), "fall"),
                "unloaded fall time of the output",
                f"falling slopes of {source.name}",
                "fall-too-fast",
                auto=False,
            )
    able = source.fastest(rated_slew(o, o.fall.unloaded) for o in source.rows)
    if able is not None:
        why = state(
            "{outputs} {falls} at {fastest} without load",
            outputs=", ".join(source.outputs),
            falls="falls" if source.count == 1 else "fall",
            fastest=(able, "V/s"),
        )
        yield threshold(
            "fall",
            "high",
            able,
            why,
            (*source.at_output, "fall"),
            rule="fall-too-fast",
            breach=lambda rate: (
                state("a fall at {rate} is asked for; {why}", rate=(rate, "V/s"), why=why),
                "expect an edge slower than asked",
            ),
        )


def in_order(source: FedInput, rise: Slope, documents: Documents) -> Iterator[Constraint]:
    """An input is within its operating range when the one that follows it is switched on."""
    lowest, up = source.input.operating.low, documents.procedure.steps[int(rise.path[2])].power_up
    on = {name: place * up.gap for place, name in enumerate(up.order)} if up is not None else {}
    for index, wanted in enumerate(documents.device.order):
        gap = on.get(wanted.then, 0.0) - on.get(source.name, 0.0)
        if wanted.after == source.name and lowest <= rise.stop and gap > 0.0:
            yield threshold(
                "order",
                "low",
                lowest / gap,
                state(
                    "it reaches {lowest} before {then} is switched on {gap} later",
                    lowest=(lowest, "V"),
                    then=wanted.then,
                    gap=(gap, "s"),
                ),
                ("device", "order", index),
                lambda high: "a longer gap" if high <= 0.0 else f"a gap of {show(lowest / high, 's')}",
                "order-rehearsed",
            )


def required(source: FedInput, rise: Slope, documents: Documents) -> Iterator[Constraint]:
    """A start-up time that is required leaves so much time to rise and to settle after it."""
    top = source.voltage_with_error(rise.stop)
    for index, wanted in enumerate(documents.procedure.requires):
        own = wanted.known.after_switching_on and (wanted.of, wanted.during) == (source.name, rise.step)
        most = wanted.limits[1] if own else None
        if most is None or most <= 0.0:
            continue

        def holds(rate: float, most: float = most) -> bool:
            return rate > 0.0 and up_after(source, rate, rise.stop, top / most) <= most * EXACTLY

        fastest = FASTER * top / most
        least = halving.least(holds, 0.0, fastest, HALVINGS) if holds(fastest) else math.inf

        def relax(high: float, most: float = most) -> str:
            time = up_after(source, high, rise.stop, top / most) if high > 0.0 else math.inf
            return f"{show(time, 's') if math.isfinite(time) else 'more time'} in the requirement"

        yield Constraint(
            "required",
            "low",
            least,
            holds,
            state(
                "'{requirement}' permits {permitted}; the rise to {highest} (with its error) and settling "
                "take {takes}{at_least}",
                requirement=wanted.name,
                permitted=(most, "s"),
                highest=(top, "V"),
                takes=(up_after(source, min(least, fastest), rise.stop, top / most), "s"),
                at_least=state(" at {least}", least=(least, "V/s"))
                if math.isfinite(least)
                else " however fast it rises",
            ),
            ("procedure", "requires", index),
            relax,
            "requirement-predicted",
        )


def up_after(source: FedInput, rate: float, voltage: float, least: float = 0.0) -> float:
    """Longest time from switching on until voltage and current are steady [s], where the limit does not act:
    see `measures.start_up_time` for the bands of both.

    The slope up to the voltage with its error; where the current that charges the input is more than the
    current's band, all of it, and until that has faded through lead and series resistance; the output's
    recovery; or the start of a converter and its soft start. least [V/s]: the charging current is judged at
    no slower a rate.
    """
    top = source.voltage_with_error(voltage)
    farads = source.load.capacitance.high
    charging = source.load.charging_current(max(rate, least), top)
    drawn = source.load.least(voltage)
    band = max(CURRENT_BAND * drawn, CURRENT_BAND_OF_LARGEST * (charging + drawn))
    slope = (1.0 - VOLTAGE_BAND) * top / rate
    if charging > band:
        fades = (source.resistance.high + source.load.series_resistance) * farads
        slope = top / rate + fades * math.log(charging / band)
    starts = [
        each.starts_at.high / rate + (each.soft_start.high if each.soft_start else 0.0)
        for each in source.rising_load.converters
        if each.starts_at.high <= top
    ]
    recovers = max((output.recovery.time for output in source.rows if output.recovery), default=0.0)
    return max(slope, *starts, 0.0) + recovers
