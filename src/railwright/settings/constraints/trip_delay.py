"""What a trip delay must meet: longer than operation is in the limit, within what lead and fuse bear."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import chain

from railwright.physics import conductors
from railwright.quantities import show, state
from railwright.settings.constraints.constraint import (
    EXACT,
    Breach,
    Constraint,
    Facts,
    Range,
)
from railwright.settings.constraints.current_limit import charges_within
from railwright.settings.context import FedInput, PlacedFuse
from railwright.settings.group import output_path
from railwright.settings.rule import Unknown


def facts(source: FedInput, limit: float | None) -> Facts:
    """Everything that bounds a trip delay [s]. limit [A]: the current limit; None: there is none yet."""
    borne = chain(insulation(source, limit), fuses(source, limit)) if limit is not None else ()
    return chain(_unknown(source), charged(source, limit), in_range(source), borne)


def _unknown(source: FedInput) -> Iterator[Unknown]:
    """Figures that charging hangs on."""
    output, known = source.at_output, source.output_capacitance
    figures = (
        ((*output, "programming"), "accuracy of the current limit", source.limit_error(0.0)),
        ((*output, "output_capacitance"), "the output's own capacitance", known),
        (source.at_input, "what a part of the load draws", source.load.current(source.input.nominal)),
    )
    return (Unknown(source.name, path, figure) for path, figure, given in figures if given is None)


def charged(source: FedInput, limit: float | None) -> Iterator[Constraint]:
    """It is longer than charging at the limit takes."""
    source = source.in_operation
    least = source.surely(limit) if limit is not None else math.inf
    longest = source.longest_charging(least) if limit is not None else None
    if longest is None:
        return
    takes = (
        state("takes up to {charging_time}", charging_time=(longest.time, "s"))
        if math.isfinite(longest.time)
        else "never ends"
    )
    what = state(
        "{charging} (the output's own with it) at {limit_less_error}",
        charging=longest.words,
        limit_less_error=(least, "A"),
    )

    def relax(delay: float) -> str:
        enough = charges_within(source, delay)
        if enough is None:
            return "a limit that regulates instead of tripping, or a slower rise"
        return f"a current limit of {show(enough, 'A')} or more, a limit that regulates, or a slower rise"

    yield Constraint(
        "charging",
        "low",
        longest.time,
        lambda delay: delay >= longest.time,
        state(
            "{what} (the limit less its error) beside the load {takes}, from C·V/(I_limit − I_load)",
            what=what,
            takes=takes,
        ),
        longest.move.path,
        relax,
        "trip-before-charged",
        lambda delay: (
            state(
                "{what} beside the load {takes}; the trip delay is {trip_delay}",
                what=what,
                takes=takes,
                trip_delay=(delay, "s"),
            ),
            "lengthen the delay, raise the limit, or rise more slowly",
        ),
        bracket=True,
    )


def range_of(source: FedInput) -> Range:
    """What the outputs' trip delays can be set to [s], of those whose range is given."""
    return Range(
        source,
        "trip delay",
        "s",
        [1.0] * source.count,
        lambda output: output.trip_delay,
        ("trip_delay",),
        "trip-delay-range",
        zero=True,
    )


def in_range(source: FedInput) -> Facts:
    """Every output can be set to it."""
    reach = range_of(source)
    known = reach.reaches
    for name in source.outputs:
        if name not in known:
            yield Unknown(
                name,
                (*output_path(name), *reach.key),
                "range of the trip delay",
                f"the delay of {source.name}",
                reach.rule,
            )
    if known:
        yield from reach.ends()


def short_heat(source: FedInput, limit: float, delay: float) -> float:
    """I²t of a short at the load that trips after a delay [A²s]: the limit with its error for that long, and
    the output's own capacitor, all of whose energy the lead takes at worst (½·C·V²/R).
    """
    level = source.played.highest
    volts, ohms = (level.voltage if level else 0.0), max(source.resistance.low, 1e-3)
    return source.at_most(limit) ** 2 * delay + source.stored * volts**2 / (2.0 * ohms)


def _bearing(amount: float, unit: str) -> str:
    """What something that bears so much would be, for people; infinite: no words."""
    return "" if math.isinf(amount) else f" that bears {amount:.3g} {unit}"


def insulation(source: FedInput, limit: float) -> Iterator[Constraint]:
    """Within it a short does not heat the lead beyond what its insulation survives (k²S²)."""
    through, permitted = source.at_most(limit), source.lead.permitted_current
    if permitted is not None and through <= permitted:
        return
    survives = conductors.adiabatic_limit(source.lead.conductor.section)
    stored = short_heat(source, limit, 0.0)
    yield Constraint(
        "k2s2",
        "high",
        max(0.0, survives - stored) / through**2 if through > 0.0 else math.inf,
        lambda delay: short_heat(source, limit, delay) <= survives * (1.0 + EXACT),
        state(
            "the insulation of lead '{lead}' survives {survived:.3g} A²s (k²S²) of a short at {let_through}, "
            "of which the output's own capacitor takes {stored:.2g} A²s",
            lead=source.lead_name,
            survived=(survives, "A**2*s"),
            let_through=(through, "A"),
            stored=(stored, "A**2*s"),
        ),
        (*source.at_lead, "conductor"),
        lambda low: "a thicker lead" + _bearing(through**2 * low + stored, "A²s"),
    )


def fuses(source: FedInput, limit: float) -> Iterator[Constraint]:
    """The output is off before any fuse on the way opens at the limit."""
    for placed in source.fuses:
        yield from fuse(source, limit, placed)


def fuse(source: FedInput, limit: float, placed: PlacedFuse) -> Iterator[Constraint]:
    """The output is off before a fuse opens at the limit."""
    through = source.at_most(limit)
    opens = placed.fuse.opens_after(through)
    if math.isinf(opens):
        return

    def breach(delay: float) -> Breach:
        return (
            state(
                "the limit lets {let_through} through (with programming error), at which {fuse} opens after "
                "{opening_time}; {until}",
                let_through=(through, "A"),
                fuse=placed.words,
                opening_time=(opens, "s"),
                until=state("{trip_delay} pass before the output trips", trip_delay=(delay, "s"))
                if math.isfinite(delay)
                else "the output regulates there and does not trip",
            ),
            "lower the current limit, trip sooner, or accept that a fault costs the fuse",
        )

    yield Constraint(
        placed.name,
        "high",
        opens,
        lambda delay: delay <= opens,
        state(
            "{fuse} opens after {opening_time} at {let_through}",
            fuse=placed.words,
            opening_time=(opens, "s"),
            let_through=(through, "A"),
        ),
        placed.path,
        lambda low: "a slower fuse" + _bearing(low, f"s of {show(through, 'A')}"),
        "fuse-before-trip",
        breach,
    )
