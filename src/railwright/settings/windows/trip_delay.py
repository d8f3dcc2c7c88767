"""The window of a trip delay: longer than normal operation is in the limit, as long as lead and fuse bear."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from railwright.physics import conductors
from railwright.quantities import show
from railwright.settings import figures
from railwright.settings.context import Source
from railwright.settings.windows.charging import charges_within
from railwright.settings.windows.window import (
    EXACT,
    Demand,
    Impossible,
    Window,
    ends_of,
    missing,
    rounded,
)

DELAY_MARGIN = 1.5
"""Ratio of a trip delay to the longest time in the current limit that normal operation causes."""

TO_ROUND = 0.04
"""What a trip delay is lengthened by so that a round value above the least one can be found."""

DELAY_STEP = 1e-4
"""Step of trip delays [s], which a bench does not give."""


def window(source: Source, limit: float | None) -> Window:
    """The window of an input's trip delay [s], with a recommended value where all is known.

    limit [A]: the current limit; None: there is none yet.
    """
    asked = source.limits.trip_delay if source.limits else "auto"
    ends = ends_of([*_lows(source, limit), *_highs(source, limit)], DELAY_STEP)
    found = Window(
        source.name,
        "trip_delay",
        "s",
        DELAY_STEP,
        "the delay's own step is not given: taken",
        ends,
        tuple(_lacks(source)),
        dict.fromkeys(source.outputs, 1.0),
        None if asked == "auto" or asked is None else float(asked),
    )
    return recommend(found, source) if limit is not None else found


def _reach(source: Source) -> tuple[float, float] | None:
    known = [output.trip_delay for output in source.rows if output.trip_delay]
    if len(known) < source.count:
        return None
    return max(each.low for each in known), min(each.high for each in known)


def recommend(found: Window, source: Source) -> Window:
    """With the recommended value: some way above the longest time in the limit, and round."""
    low, high, reach = found.low, found.high, _reach(source)
    if found.lacks or found.colliding() or low is None or high is None or reach is None:
        return found
    charging = next((end for end in found.ends if end.side == "low" and end.key != "range"), None)
    if charging is None and not source.load.settled:
        # Nothing is known before the rehearsal: the longest delay lets everything settle.
        why = (
            f"a part of the load draws more until it has settled, and only a rehearsal tells for how long; "
            f"until then the longest delay that is right, {show(high.value, 's')} ({high.why})"
        )
        return replace(found, recommended=high.value, why=why)
    longest = charging.value if charging else 0.0
    wanted = min(max(low.value, DELAY_MARGIN * longest), high.value)
    aim = min((1.0 + TO_ROUND) * wanted, high.value)
    value = figures.tidy(aim, wanted, high.value, found.step)
    words = charging.why if charging else "nothing that is played reaches the current limit"
    if charging is None or wanted <= reach[0] * (1.0 + EXACT):
        decides = f"the shortest delay of the output, {show(reach[0], 's')}, decides"
    elif DELAY_MARGIN * longest > wanted * (1.0 + EXACT):
        decides = (
            f"there is no room for {DELAY_MARGIN:g} times that below {show(high.value, 's')} ({high.why})"
        )
    else:
        decides = f"times {DELAY_MARGIN:g} that is {show(wanted, 's')}"
    why = (
        f"{words}; {decides}, within the range of "
        f"{show(reach[0], 's')} to {show(reach[1], 's')}; {_rounded(value, wanted, found.step)} "
        f"({found.taken})"
    )
    return replace(found, recommended=value, why=why)


def _rounded(value: float, wanted: float, step: float) -> str:
    """What rounding did to a wanted delay [s]: never less."""
    words = rounded(value, wanted, "s", step)
    return words.replace(" rounded to ", " rounded up to ") if value > wanted else words


def _lacks(source: Source) -> Iterator[Impossible]:
    auto = "a trip delay cannot be worked out"
    if source.limit_error(0.0) is None:
        path = (*source.at_output, "programming")
        yield missing(path, "accuracy of the current limit", auto)
    if _reach(source) is None:
        path = (*source.at_output, "trip_delay")
        yield missing(path, "the range of the output's trip delay", auto)
    if source.output_capacitance is None:
        path = (*source.at_output, "output_capacitance")
        yield missing(path, "the output's own capacitance", auto)
    if source.load.current(source.input.nominal) is None:
        yield missing(source.at_input, "what a part of the load draws", auto)


def _lows(source: Source, limit: float | None) -> Iterator[Demand]:
    reach = _reach(source)
    if limit is not None:
        least = limit - (source.limit_error(limit) or 0.0)
        longest = source.longest_charging(least)
        if longest is not None:
            takes = "never ends" if math.isinf(longest.time) else f"takes up to {show(longest.time, 's')}"
            yield Demand(
                "charging",
                "low",
                longest.time,
                lambda value: value >= longest.time,
                f"{longest.words} (the output's own with it) at {show(least, 'A')} (the limit less its "
                f"error) beside the load {takes}, from C·V/(I_limit − I_load)",
                longest.move.path,
                lambda high: _limit_for(source, high),
                "trip-before-charged",
                bracket=True,
            )
    if reach is not None:
        yield Demand(
            "range",
            "low",
            reach[0],
            lambda value: value >= reach[0] * (1.0 - EXACT),
            f"the output's shortest delay is {show(reach[0], 's')}",
            (*source.at_output, "trip_delay"),
            lambda high: f"an output that trips after {show(max(0.0, high), 's')}",
            "trip-delay-range",
        )


def _limit_for(source: Source, delay: float) -> str:
    """The current limit with which everything is charged within a delay [s], in words."""
    least = charges_within(source, delay)
    if least is None:
        return "a limit that regulates instead of tripping, or a slower rise"
    return f"a current limit of {show(least, 'A')} or more, a limit that regulates, or a slower rise"


def short_heat(source: Source, limit: float, delay: float) -> float:
    """I²t of a short at the load that trips after a delay [A²s]: the limit with its error for that long, and
    the output's own capacitor, all of whose energy the lead takes at worst (½·C·V²/R).
    """
    most = limit + (source.limit_error(limit) or 0.0)
    level, own = source.played.highest, source.output_capacitance or 0.0
    volts, ohms = (level.voltage if level else 0.0), max(source.resistance.low, 1e-3)
    return most**2 * delay + own * volts**2 / (2.0 * ohms)


def _bearing(amount: float, unit: str) -> str:
    return "" if math.isinf(amount) else f" that bears {amount:.3g} {unit}"


def _highs(source: Source, limit: float | None) -> Iterator[Demand]:
    reach = _reach(source)
    if reach is not None:
        yield Demand(
            "range",
            "high",
            reach[1],
            lambda value: value <= reach[1] * (1.0 + EXACT),
            f"the output's longest delay is {show(reach[1], 's')}",
            (*source.at_output, "trip_delay"),
            lambda low: "" if math.isinf(low) else f"an output with a delay of {show(low, 's')}",
            "trip-delay-range",
        )
    if limit is None:
        return
    most = limit + (source.limit_error(limit) or 0.0)
    permitted = source.lead.permitted_current
    if permitted is None or most > permitted:
        survives = conductors.adiabatic_limit(source.lead.conductor.section)
        stored = short_heat(source, limit, 0.0)
        yield Demand(
            "k2s2",
            "high",
            max(0.0, survives - stored) / most**2 if most > 0.0 else math.inf,
            lambda value: short_heat(source, limit, value) <= survives * (1.0 + EXACT),
            f"the insulation of lead '{source.hook_up.lead}' survives {survives:.3g} A²s (k²S²) of a short "
            f"at {show(most, 'A')}, of which the output's own capacitor takes {stored:.2g} A²s",
            (*source.at_lead, "conductor"),
            lambda low: "a thicker lead" + _bearing(most**2 * low + stored, "A²s"),
        )
    fuse = source.fixture.fuse if source.fixture else None
    opens = fuse.opens_after(most) if fuse is not None else math.inf
    if opens < math.inf:
        yield Demand(
            "fuse",
            "high",
            opens,
            lambda value: value <= opens,
            f"the fuse in '{source.hook_up.fixture}' opens after {show(opens, 's')} at {show(most, 'A')}",
            (*source.at_fixture, "fuse"),
            lambda low: "a slower fuse" + _bearing(low, f"s of {show(most, 'A')}"),
            "fuse-before-trip",
        )
