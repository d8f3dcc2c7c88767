"""What a current limit must meet: it carries what is drawn, and lets through no more than device, lead and
outputs bear. And what an over-current protection (OCP) must: its level lies above the need, and its delay is
one that the output has.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import chain

from railwright.circuit.inside import at_connector, lost_inside
from railwright.measures.start_up_time import CURRENT_BAND, CURRENT_BAND_OF_LARGEST
from railwright.physics.halving import least_with
from railwright.physics.output_stage import LIMIT_OVERSHOOT
from railwright.quantities import Interval, joined, show, state
from railwright.settings.constraints.constraint import (
    EXACT,
    Breach,
    Constraint,
    Facts,
    Range,
    threshold,
)
from railwright.settings.context import FedInput
from railwright.settings.rule import Path, Unknown

HALVINGS = 16
"""Halvings of an output's range of currents: to a few parts in 100,000 of it, which the grid then settles."""

AT_ONCE = Interval(0.0, 0.0)
"""Delays of a protection that has none that can be set [s]."""

BELOW_NEED = "limit-below-need"
OVERSHOOT = "limit-overshoot"


def facts(source: FedInput) -> Facts:
    """Everything that bounds an input's current limit [A], whatever the limit is."""
    return chain(
        enough(source),
        charged(source),
        device(source),
        responding(source),
        lead(source),
        range_of(source).ends(),
    )


def carrying(source: FedInput, current: float) -> float:
    """The limit that, less its error, is a current [A]; by fixed-point iteration, for the grid to settle."""
    limit = current
    for _ in range(8):
        limit = current + (source.limit_error(limit) or 0.0)
    return limit


def _carries(
    source: FedInput, key: str, need: float, words: str, why: str, path: Path, input_: str
) -> Constraint:
    """The limit, less its error, carries a need [A]. words: who needs it; input_: what would need less."""

    return Constraint(
        key,
        "low",
        carrying(source, need),
        lambda limit: source.surely(limit) >= need * (1.0 - EXACT),
        joined(", ", (why, "plus programming error")),
        path,
        lambda high: f"{input_} {show(max(0.0, source.surely(high)), 'A')}",
        BELOW_NEED,
        lambda limit: (
            state(
                "the limit may be as low as {limit_less_error} with programming error; {words} is {needed}",
                limit_less_error=(source.surely(limit), "A"),
                words=words,
                needed=(need, "A"),
            ),
            "raise the current limit, or play no voltage at which the input draws that much",
        ),
    )


def enough(source: FedInput) -> Facts:
    """It carries what normal operation draws; one that feeds a constant current has nothing to carry."""
    source = source.in_operation
    if source.fed_current is not None:
        yield threshold(
            "fed",
            "low",
            0.0,
            "it is what the input is fed with, and has nothing else to carry",
            (*source.at_limits, "purpose"),
        )
        return
    if not source.asked:
        figure, check = "what the input draws", "the current limit against it"
        yield Unknown(source.name, source.at_input, figure, check, BELOW_NEED)
    if source.limit_error(0.0) is None:
        yield Unknown(
            source.name,
            (*source.at_output, "programming"),
            "accuracy or resolution of the current limit",
            "the error of the current limit",
            BELOW_NEED,
        )
    for need, words, declared in source.asked:
        key, path = ("declared", ("current", "steady")) if declared else ("draw", ("load",))
        yield _carries(
            source,
            key,
            need,
            words,
            state("{words}, {needed}", words=words, needed=(need, "A")),
            (*source.at_input, *path),
            "an input that draws no more than",
        )
    yield from _starting(source)


def _starting(source: FedInput) -> Facts:
    """A converter that starts at its lowest starting voltage draws the most that it ever does on the way up:
    with less its input falls back while it starts.
    """
    top = source.played.highest
    for index, entry in enumerate(source.input.load):
        if entry.kind != "converter" or top is None or index in source.enabled.never | source.enabled.later:
            continue
        behind = entry.parameters.starts_at  # type: ignore[attr-defined]
        starts = at_connector(behind, lost_inside(source.input)).low
        draw = source.load.current(starts) if 0.0 < starts <= top.voltage else None
        if draw is None:
            continue
        words = state("a converter that starts at {starts_at}", starts_at=(starts, "V"))
        yield _carries(
            source,
            "start",
            draw.high,
            state("the draw of {words}", words=words),
            state("{words} draws {needed} there", words=words, needed=(draw.high, "A")),
            (*source.at_input, "load", index, "converter", "starts_at"),
            "a converter that starts at a higher voltage, and draws there no more than",
        )


def charging_time(source: FedInput, limit: float) -> float:
    """Longest time at a limit [A], less its error, by its closed form [s]."""
    charging = source.longest_charging(source.surely(limit))
    return charging.time if charging is not None else 0.0


def charged_after(source: FedInput, limit: float, voltage: float) -> float:
    """Longest time from switching on a voltage [V] until an input draws what it does once it is charged [s]:
    in a current limit [A], and then until what charges it has faded through lead and series resistance to the
    current's band. Of a load that only a rehearsal tells, as if it drew nothing meanwhile. inf: never.
    """
    load, least = source.load, source.surely(limit)
    ohms, farads = source.resistance.high + load.series_resistance, load.capacitance.high
    time = load.charging_time(source.charged or 0.0, least, 0.0, voltage, from_off=True)
    if time is None:
        time = (farads + (source.charged or 0.0)) * voltage / least if least > 0.0 else math.inf
    flows = min(least, voltage / ohms) if ohms > 0.0 else least
    band = max(CURRENT_BAND * load.least(voltage), CURRENT_BAND_OF_LARGEST * flows)
    return time + (ohms * farads * math.log(flows / band) if flows > band else 0.0)


def charges_within(source: FedInput, delay: float) -> float | None:
    """The least limit [A] with which everything is charged within a delay [s], from above; None: the largest
    does not do it.
    """
    full = source.full_current
    if charging_time(source, full) > delay:
        return None

    def share(limit: float) -> float:
        """How many times it is charged within the delay: at most twice, so that it never jumps to inf."""
        return min(2.0, delay / time) if (time := charging_time(source, limit)) > 0.0 else 2.0

    return least_with(share, 1.0, 0.0, full, HALVINGS)


def charged(source: FedInput) -> Iterator[Constraint]:
    """A limit that trips charges what is to be charged before a delay that is written is over."""
    source = source.in_operation
    limits = source.limits
    if limits.at_limit != "trip" or limits.trip_delay in ("auto", None):
        return
    delay = float(limits.trip_delay)
    if (least := charges_within(source, delay)) is None:
        return  # no limit of these outputs does it: the window of the delay says so
    charging = source.longest_charging(source.surely(least))

    def relax(high: float) -> str:
        time = charging_time(source, high)
        return f"a trip delay of {show(time, 's')}" if math.isfinite(time) else ""

    yield Constraint(
        "charging",
        "low",
        least,
        lambda value: charging_time(source, value) <= delay,
        state(
            "{charging} takes no longer than the trip delay, {trip_delay}, by C·V/(I_limit − I_load)",
            charging=charging.words if charging else "charging what is to be charged",
            trip_delay=(delay, "s"),
        ),
        (*source.at_limits, "trip_delay"),
        relax,
        "trip-before-charged",
        bracket=True,
    )


def _bears(
    source: FedInput, key: str, bound: float | None, what: str, missing: Unknown, remedy: str
) -> Facts:
    """The limit, with its error, lets through no more than something bears [A]. what: it, for people."""
    if bound is None:
        yield missing
        return

    yield Constraint(
        key,
        "high",
        max(0.0, bound - (source.limit_error(bound) or 0.0)),
        lambda limit: source.at_most(limit) <= bound * (1.0 + EXACT),
        state("{what} bears {borne}, less programming error", what=what, borne=(bound, "A")),
        missing.path,
        lambda low: f"a {key} that bears {show(source.at_most(low), 'A')}",
        missing.rule,
        lambda limit: (
            state(
                "the limit lets {let_through} through (with programming error); {what} bears {borne}",
                let_through=(source.at_most(limit), "A"),
                what=what,
                borne=(bound, "A"),
            ),
            remedy,
        ),
    )


def device(source: FedInput) -> Facts:
    """It lets through no more than does the input no harm."""
    return _bears(
        source,
        "device",
        source.input.current.at_most,
        "the device",
        Unknown(
            source.name,
            (*source.at_input, "current", "at_most"),
            "the current that does the input no harm (at_most)",
            "the current limit against the device",
            "limit-above-device",
        ),
        "lower the current limit",
    )


def overshoot(source: FedInput) -> float:
    """How far the current may exceed the limit until it has responded [A], at most: no data sheet says it. In
    series one current flows, so that the outputs' do not add up.
    """
    return (sum if source.parallel else max)(LIMIT_OVERSHOOT.high * o.current.high for o in source.rows)


def responding(source: FedInput) -> Iterator[Constraint]:
    """The input withstands what flows until it has responded, too. Where no limit that carries the need
    prevents that, it bounds nothing; the rule tells it where something that is played asks for so much.
    """
    most = source.input.current.at_most
    if most is None:
        return
    more = overshoot(source)
    words = state(
        "until the limit has responded up to {overshoot} more may flow ({part_of_rated:.0%} of the rated "
        "current, assumed, as no data sheet says it)",
        overshoot=(more, "A"),
        part_of_rated=(LIMIT_OVERSHOOT.high, "1"),
    )

    def breach(limit: float) -> Breach:
        return (
            state(
                "{words}, and what is played may draw {surge} from a limit of {limit}; the device bears "
                "{borne}",
                words=words,
                surge=(min(source.at_most(limit) + more, source.surge), "A"),
                limit=(limit, "A"),
                borne=(most, "A"),
            ),
            "lower the current limit, rise more slowly, or take an output of a lower rated current",
        )

    yield Constraint(
        "responding",
        "high",
        most - (source.limit_error(most) or 0.0) - more,
        lambda limit: source.at_most(limit) + more <= most * (1.0 + EXACT),
        state(
            "{words}, and the device bears {borne}, less programming error", words=words, borne=(most, "A")
        ),
        (*source.at_input, "current", "at_most"),
        lambda low: f"a device that bears {show(source.at_most(low) + more, 'A')}",
        OVERSHOOT,
        breach,
        yields=True,
    )


def lead(source: FedInput) -> Facts:
    """It lets through no more than the lead is permitted to carry."""
    what = f"lead '{source.lead_name}'"
    return _bears(
        source,
        "lead",
        source.lead.permitted_current,
        what,
        Unknown(
            source.name,
            (*source.at_lead, "permitted_current"),
            f"permitted current of {what}",
            "the current limit against the lead",
            "lead-current",
        ),
        "lower the current limit, or take a lead that bears it",
    )


def range_of(source: FedInput) -> Range:
    """What the outputs' current limits can be set to [A]."""
    return Range(
        source,
        "current limit",
        "A",
        source.parts,
        lambda output: output.current,
        ("current",),
        "current-range",
    )


def ocp_facts(source: FedInput) -> Facts:
    """Everything that bounds the level of an input's OCP [A]."""
    return chain(ocp_in_range(source), ocp_needed(source))


def ocp_in_range(source: FedInput) -> Iterator[Constraint]:
    """Every output can be set to its part."""
    return Range(
        source,
        "over-current protection",
        "A",
        source.parts,
        lambda output: output.ocp.level if output.ocp else None,
        ("ocp", "level"),
        "ocp-range",
    ).ends()


def ocp_needed(source: FedInput) -> Iterator[Constraint]:
    """It does not act at what normal operation draws."""
    source = source.in_operation
    if source.needs is not None:
        need, words, _ = source.needs
        yield Constraint(
            "need",
            "low",
            need,
            lambda level: level > need,
            state("{words}, {needed}", words=words, needed=(need, "A")),
            (*source.at_input, "current"),
            rule="ocp-below-need",
            breach=lambda level: (
                state(
                    "it acts from {ocp} on; {words} is {needed}",
                    ocp=(level, "A"),
                    words=words,
                    needed=(need, "A"),
                ),
                "raise 'ocp', or leave it out",
            ),
        )


def ocp_delay_in_range(source: FedInput) -> Iterator[Constraint]:
    """Every output can be set to its delay [s]."""
    return Range(
        source,
        "delay of the over-current protection",
        "s",
        [1.0] * source.count,
        lambda output: (output.ocp.delay or AT_ONCE) if output.ocp else None,
        ("ocp", "delay"),
        "ocp-range",
        zero=True,
    ).ends()
