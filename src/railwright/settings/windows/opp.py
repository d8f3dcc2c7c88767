"""The window of an OPP level: above the power that normal operation takes, below what the device bears."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from railwright.quantities import show
from railwright.settings import figures
from railwright.settings.context import Source
from railwright.settings.windows.window import (
    EXACT,
    Demand,
    Impossible,
    Window,
    ends_of,
    missing,
    rounded,
    threshold,
)

OPP_MARGIN = 1.25
"""Ratio of the chosen OPP level to the greatest power of normal operation, where the window allows it (common
practice, no source).
"""

OPP_STEP = 0.1
"""Step of OPP levels [W], which a bench does not give."""


def is_there(source: Source) -> bool:
    """Whether the input asks for an over-power protection, or its outputs have one."""
    asked = source.limits is not None and source.limits.opp is not None
    return asked or all(output.opp is not None for output in source.rows)


def parts(source: Source) -> dict[str, float]:
    """Output -> its part of the input's power."""
    each = zip(source.outputs, source.parts, source.shares, strict=True)
    return {name: part * share for name, part, share in each}


def window(source: Source, limit: float | None, ovp: float | None) -> Window:
    """The window of an input's OPP level [W], with a recommended value where all is known.

    limit [A], ovp [V]: the current limit and the OVP level, which may hold the power below; None: there is
    none yet. The bench gives no accuracy of an OPP: none is taken off.
    """
    step = OPP_STEP * source.count
    ends = ends_of([*_lows(source, limit), *_highs(source, limit, ovp)], step)
    asked = source.limits.opp if source.limits else None
    found = Window(
        source.name,
        "opp",
        "W",
        step,
        "the OPP's own step is not given: taken",
        ends,
        tuple(_lacks(source)),
        parts(source),
        None if asked is None or asked == "auto" else float(asked),
        used=asked is not None,
    )
    return recommend(found)


def recommend(found: Window) -> Window:
    """With the recommended value: some way above what normal operation takes."""
    low, high = found.low, found.high
    if found.lacks or found.colliding() or low is None or high is None:
        return found
    margin = 1.0 if low.key == "range" else OPP_MARGIN
    wanted = min(margin * low.value, high.value)
    value = figures.tidy(wanted, min(low.value * (1.0 + EXACT), high.value), high.value, found.step)
    room = (
        f"{OPP_MARGIN:g} times the lower end"
        if wanted < high.value
        else f"there is no room for {OPP_MARGIN:g} times the lower end"
    )
    why = (
        f"between {show(low.value, 'W')} ({low.why}) and {show(high.value, 'W')} ({high.why}), {room}; "
        f"{rounded(value, wanted, 'W', found.step)} ({found.taken})"
    )
    return replace(found, recommended=value, why=why)


def _lacks(source: Source) -> Iterator[Impossible]:
    auto = "an OPP level cannot be worked out"
    if any(output.opp is None for output in source.rows):
        yield missing((*source.at_output, "opp"), "the level of the output's OPP", auto)
    if source.load.current(source.input.nominal) is None:
        yield missing(source.at_input, "what a part of the load draws", auto)
    if not source.played.levels:
        yield Impossible(
            ("procedure", "steps"),
            "nothing is played on the input, so nothing says what the level must lie above",
            "play a step on it, or write the level",
        )


def _lows(source: Source, limit: float | None) -> Iterator[Demand]:
    steady = [
        (
            (level.voltage + (source.drop(drawn.high) if source.senses else 0.0)) * drawn.high,
            level,
            drawn.high,
        )
        for level in source.played.levels
        if level.voltage > 0 and (drawn := source.load.current(level.voltage)) is not None
    ]
    if steady:
        power, level, current = max(steady, key=lambda each: each[0])
        # The rule of a level that is too low counts a level at the power itself as too low, too.
        yield Demand(
            "steady",
            "low",
            power,
            lambda value: value > power * (1.0 + EXACT),
            f"'{level.step}' plays {show(level.voltage, 'V')} with up to {show(current, 'A')}, "
            f"{show(power, 'W')}",
            level.path,
            lambda high: f"an input that takes no more than {show(max(0.0, high), 'W')} in '{level.step}'",
            "opp-below-need",
        )
    each = zip(source.rows, parts(source).values(), strict=True)
    least = max((output.opp.level.low / part for output, part in each if output.opp), default=0.0)
    if least > 0.0:
        yield threshold(
            "range",
            "low",
            least,
            f"the output's OPP begins at {show(least, 'W')}",
            (*source.at_output, "opp", "level"),
            lambda high: f"an OPP that begins at {show(max(0.0, high), 'W')}",
            "opp-range",
        )
    if limit is None:
        return
    longest = source.longest_charging(limit - (source.limit_error(limit) or 0.0))
    if longest is not None:
        most = limit + (source.limit_error(limit) or 0.0)
        volts = longest.move.stop + (source.voltage_error(longest.move.stop) or 0.0)
        volts += source.drop(most) if source.senses else 0.0
        yield Demand(
            "charging",
            "low",
            volts * most,
            lambda value: value >= volts * most,
            f"{longest.words} ends at {show(volts, 'V')} and the current limit, {show(most, 'A')} with its "
            "error",
            longest.move.path,
            lambda high: f"a current limit of {show(max(0.0, high) / volts, 'A')}",
            bracket=True,
        )


def _highs(source: Source, limit: float | None, ovp: float | None) -> Iterator[Demand]:
    each = zip(source.rows, parts(source).values(), strict=True)
    reach = min((output.opp.level.high / part for output, part in each if output.opp), default=math.inf)
    if reach < math.inf:
        yield threshold(
            "range",
            "high",
            reach,
            f"the output's OPP reaches {show(reach, 'W')}",
            (*source.at_output, "opp", "level"),
            lambda low: f"an OPP that reaches {show(low, 'W')}",
            "opp-range",
        )
    highest, at_most = source.played.highest, source.input.current.at_most
    if highest is not None and at_most is not None:
        bears = highest.voltage * at_most
        yield threshold(
            "device",
            "high",
            bears,
            f"the device bears {show(at_most, 'A')} at the {show(highest.voltage, 'V')} of '{highest.step}', "
            f"{show(bears, 'W')}",
            (*source.at_input, "current", "at_most"),
            lambda low: f"a device that bears {show(low / highest.voltage, 'A')}",
        )
    if limit is not None and ovp is not None:
        volts = ovp + (source.ovp_error or 0.0)
        held = volts * (limit + (source.limit_error(limit) or 0.0))
        yield threshold(
            "idle",
            "high",
            held,
            f"above {show(held, 'W')} it never acts, as current limit and OVP hold the power below",
            (*source.at_limits, "current_limit"),
            lambda low: "a higher current limit",
        )
