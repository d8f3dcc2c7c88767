"""What the rate of a rise must meet: slow enough for limit and outputs, fast enough for what is asked."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from railwright.documents.loader import Documents
from railwright.quantities import show, state
from railwright.settings import figures
from railwright.settings.constraints.constraint import EXACT, Constraint, Facts, Missing, threshold
from railwright.settings.context import FedInput
from railwright.settings.group import output_path
from railwright.settings.rule import Path

REACHED = 0.98
"""Part of the set voltage at which an input counts as up: as the start-up time has it."""


@dataclass(frozen=True, slots=True)
class Rise:
    """A power-up of an input: its step's number and name, the voltage [V], the rate asked for [V/s]
    and where it or its step is written; on: instants at which its inputs are switched on [s].
    """

    index: int
    name: str
    voltage: float
    rate: float | None
    path: Path
    on: dict[str, float]


def facts(
    source: FedInput, rise: Rise, documents: Documents, limit: float | None, limit_for: Callable[[float], str]
) -> Facts:
    """Everything that bounds the rate of a power-up [V/s].

    limit [A]: the current limit; None: there is none yet. limit_for: (current that it must carry [A]) -> what
    limit that would be, for people.
    """
    if source.output_capacitance is None:
        yield Missing((*source.at_output, "output_capacitance"), "the output's own capacitance")
    if limit is not None:
        yield from within_limit(source, rise, limit, limit_for)
    yield from fast_output(source)
    yield from slow_output(source)
    yield from in_order(source, rise, documents)
    yield from required(source, rise, documents)


def within_limit(
    source: FedInput, rise: Rise, limit: float, limit_for: Callable[[float], str]
) -> Iterator[Constraint]:
    """Charging, beside the load, stays within the current limit, where that is not what feeds the input."""
    if source.fed_current is not None:
        return
    drawn = source.drawn_rising(0.0, rise.voltage)
    if drawn is None:
        return
    least, farads = source.surely(limit), source.capacitance
    spare = least - drawn.high
    without = [name for name, output in source.outputs.items() if output.slew is None]
    stairs = f", as a whole: {', '.join(without)} has no slew, and in a stair the limit may act for a while"
    why = state(
        "{capacitance} and the load's {drawn} stay within the current limit of {limit_less_error} (less its "
        "error), by C·dV/dt{stairs}",
        capacitance=(farads, "F"),
        drawn=(drawn.high, "A"),
        limit_less_error=(least, "A"),
        stairs=stairs if without else "",
    )
    yield Constraint(
        "limit",
        "high",
        max(0.0, spare) / farads if farads > 0.0 else math.inf,
        lambda rate: farads * rate <= spare * (1.0 + EXACT),
        why,
        (*source.at_limits, "current_limit"),
        lambda low: limit_for(farads * low + drawn.high),
        "ramp-in-limit",
        bracket=True,
    )


def fast_output(source: FedInput) -> Facts:
    """Every output keeps up with its share of it."""
    rates = [o.slew.high if o.slew is not None else figures.fastest_slew(o) for o in source.rows]
    able, names = source.fastest(rates), ", ".join(source.outputs)
    if able is None:
        check = f"the slopes of {source.name}"
        yield Missing(source.at_output, "rise or slew of the output", "slew-too-fast", check, auto=False)
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
            "rise more slowly, or mind that the edge will be slower than asked",
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
    together = (
        state(", with which {outputs} rise at {slowest}", outputs=source.words, slowest=(slowest, "V/s"))
        if source.series
        else ""
    )
    why = state(
        "the slew of {output} begins at {range_low}{together}",
        output=name,
        range_low=(own, "V/s"),
        together=together,
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
            path, check = (*output_path(name), "fall"), f"falling slopes of {source.name}"
            yield Missing(path, "unloaded fall time of the output", "fall-too-fast", check, name, auto=False)
    able, names = source.fastest(map(figures.slowest_fall, source.rows)), ", ".join(source.outputs)
    if able is None:
        return
    falls = "falls" if source.count == 1 else "fall"
    why = state(
        "{outputs} {falls} at {fastest} without load", outputs=names, falls=falls, fastest=(able, "V/s")
    )
    yield threshold(
        "fall",
        "high",
        able,
        why,
        (*source.at_output, "fall"),
        rule="fall-too-fast",
        breach=lambda rate: (
            state("{rate} downwards is asked for; {why}", rate=(rate, "V/s"), why=why),
            "mind that the edge may be slower than asked",
        ),
    )


def in_order(source: FedInput, rise: Rise, documents: Documents) -> Iterator[Constraint]:
    """An input is within its operating range when the one that follows it is switched on."""
    lowest = source.input.operating.low
    for index, wanted in enumerate(documents.device.order):
        gap = rise.on.get(wanted.then, 0.0) - rise.on[source.name]
        if wanted.after != source.name or lowest > rise.voltage or gap <= 0.0:
            continue
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


def required(source: FedInput, rise: Rise, documents: Documents) -> Iterator[Constraint]:
    """A start-up time that is required leaves so much time to rise."""
    goal = REACHED * rise.voltage
    for index, wanted in enumerate(documents.procedure.requires):
        own = wanted.known.after_switching_on and wanted.of == source.name
        most = wanted.limits[1] if own else None
        if most is None or most <= 0.0 or wanted.during != rise.name:
            continue
        yield threshold(
            "required",
            "low",
            goal / most,
            state(
                "'{requirement}' permits {permitted} to {level}",
                requirement=wanted.name,
                permitted=(most, "s"),
                level=(rise.voltage, "V"),
            ),
            ("procedure", "requires", index),
            lambda high: f"{show(goal / high, 's') if high > 0.0 else 'more time'} in the requirement",
            "requirement-predicted",
        )
