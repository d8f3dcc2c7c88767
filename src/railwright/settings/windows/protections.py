"""The windows of protections: trip delay, OVP and OPP.

A trip delay is longer than normal operation is in the limit, and as long as lead and fuse bear. An OVP level
lies above what stands at the terminals, and below what the device withstands; an OPP level above the power
that normal operation takes, and below what the device bears.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from railwright.quantities import state
from railwright.settings import figures
from railwright.settings.constraints import ovp, power, trip_delay
from railwright.settings.constraints.constraint import EXACT, Constraint, threshold
from railwright.settings.context import FedInput
from railwright.settings.windows.window import (
    DELAY_MARGIN,
    NOTHING_PLAYED,
    End,
    Window,
    between,
    rounded,
    window_of,
)

TO_ROUND = 0.04
"""What a trip delay is lengthened by so that a round value above the least one can be found."""

DELAY_STEP = 1e-4
"""Step of trip delays [s], which a bench does not give."""


def trip_delay_window(source: FedInput, limit: float | None) -> Window:
    """The window of an input's trip delay [s], with a recommended value where all is known.

    limit [A]: the current limit; None: there is none yet.
    """
    found = window_of(
        source,
        "trip_delay",
        DELAY_STEP,
        trip_delay.facts(source, limit),
        [1.0] * source.count,
        source.limits.trip_delay,
        "the delay's own step is not given: taken",
    )
    choose = partial(chosen_trip_delay, source.in_operation)
    return found.recommending(choose) if limit is not None else found


def chosen_trip_delay(source: FedInput, found: Window, low: End, high: End) -> tuple[float, str]:
    """A trip delay some way above the longest time in the limit, and round; and why."""
    reach = trip_delay.range_of(source)
    charging = next((end for end in found.ends if end.side == "low" and end.key != "range"), None)
    if charging is None and not source.load.settled:
        # Nothing is known before the rehearsal: the longest delay lets everything settle.
        return high.value, state(
            "a part of the load draws more until it has settled, and only a rehearsal tells for how long; "
            "until then the longest delay that is right, {high} ({high_end})",
            high=(high.value, "s"),
            high_end=high.why,
        )
    longest = charging.value if charging else 0.0
    wanted = min(max(low.value, DELAY_MARGIN * longest), high.value)
    aim = min((1.0 + TO_ROUND) * wanted, high.value)
    value = figures.tidy(aim, wanted, high.value, found.step)
    words = charging.why if charging else "nothing that is played reaches the current limit"
    if charging is None or wanted <= reach.low * (1.0 + EXACT):
        decides = state("the shortest delay of the output, {shortest}, decides", shortest=(reach.low, "s"))
    elif DELAY_MARGIN * longest > wanted * (1.0 + EXACT):
        decides = state(
            "there is no room for {ratio:g} times that below {high} ({high_end})",
            ratio=(DELAY_MARGIN, "1"),
            high=(high.value, "s"),
            high_end=high.why,
        )
    else:
        decides = state(
            "times {ratio:g} that is {with_margin}", ratio=(DELAY_MARGIN, "1"), with_margin=(wanted, "s")
        )
    return value, state(
        "{words}; {decides}, within the range of {range_low} to {range_high}; {rounding} ({taken})",
        words=words,
        decides=decides,
        range_low=(reach.low, "s"),
        range_high=(reach.high, "s"),
        # It is never rounded down.
        rounding=rounded(value, wanted, "s", found.step, "rounded up to"),
        taken=found.taken,
    )


OVP_MARGIN = 0.03
"""Least distance of an OVP level, less its error, above the highest voltage played, in parts of it."""

OVP_STEP = 0.01
"""Step of OVP levels [V], which a bench does not give."""


def ovp_grid(source: FedInput) -> float:
    """Step of the input's OVP level [V]: the sum of its outputs' in series."""
    return OVP_STEP * (source.count if source.series else 1)


def ovp_window(source: FedInput, limit: float | None) -> Window:
    """The window of an input's OVP level [V], with a recommended value where all is known.

    limit [A]: the current limit, which the drop on a sensed lead hangs on; None: there is none, and the drop
    is left out.
    """
    return window_of(
        source,
        "ovp",
        ovp_grid(source),
        ovp.facts(source, limit),
        source.shares,
        source.limits.ovp,
        "the OVP's own step is not given: taken",
    ).recommending(chosen_ovp)


def chosen_ovp(found: Window, low: End, high: End) -> tuple[float, str]:
    """An OVP level in the middle of the window, with a margin above what is played; and why."""
    least = (
        min(low.value * (1.0 + OVP_MARGIN), high.value) if low.key in ("played", "rehearsed") else low.value
    )
    middle = (least + high.value) / 2
    value = figures.two_digits(middle, least, high.value, found.step)
    room = "counted from" if least < high.value else "there is no room for"
    return value, state(
        "in the middle {between}, {room} {margin:.0%} above the lower end; {rounding} ({taken})",
        between=between(found, low, high),
        room=room,
        margin=(OVP_MARGIN, "1"),
        rounding=rounded(value, middle, "V", found.step),
        taken=found.taken,
    )


OPP_MARGIN = 1.25
"""Ratio of the chosen OPP level to the greatest power of normal operation, where the window allows it (common
practice, no source).
"""

OPP_STEP = 0.1
"""Step of OPP levels [W], which a bench does not give."""


def opp_window(source: FedInput, limit: float | None, level: float | None) -> Window:
    """The window of an input's OPP level [W], with a recommended value where all is known.

    limit [A], level [V]: the current limit and the OVP level, which may hold the power below; None: there is
    none yet. The bench gives no accuracy of an OPP: none is taken off.
    """
    return window_of(
        source,
        "opp",
        OPP_STEP * source.count,
        [*power.facts(source, limit), *_idle(source, limit, level)],
        source.power_parts,
        source.limits.opp,
        "the OPP's own step is not given: taken",
        [] if source.played.levels else [NOTHING_PLAYED],
    ).recommending(chosen_opp)


def _idle(source: FedInput, limit: float | None, level: float | None) -> Iterator[Constraint]:
    """Above what current limit and OVP let through it would never act."""
    if limit is not None and level is not None:
        held = source.ovp_with_error(level) * source.at_most(limit)
        yield threshold(
            "idle",
            "high",
            held,
            state(
                "above {highest_power} it never acts, as current limit and OVP hold the power below",
                highest_power=(held, "W"),
            ),
            (*source.at_limits, "current_limit"),
            lambda low: "a higher current limit",
        )


def chosen_opp(found: Window, low: End, high: End) -> tuple[float, str]:
    """An OPP level some way above what normal operation takes; and why."""
    margin = 1.0 if low.key == "range" else OPP_MARGIN
    wanted = min(margin * low.value, high.value)
    room = state("{ratio:g} times the lower end", ratio=(OPP_MARGIN, "1"))
    if wanted >= high.value:
        room = state("there is no room for {ratio:g} times the lower end", ratio=(OPP_MARGIN, "1"))
    value = figures.tidy(wanted, min(low.value * (1.0 + EXACT), high.value), high.value, found.step)
    return value, state(
        "{between}, {room}; {rounding} ({taken})",
        between=between(found, low, high),
        room=room,
        rounding=rounded(value, wanted, "W", found.step),
        taken=found.taken,
    )
