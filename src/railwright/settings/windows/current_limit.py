"""The window of a current limit: above what is drawn, below what device, lead and outputs bear."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace

from railwright.circuit.parts import LIMIT_OVERSHOOT
from railwright.quantities import show
from railwright.settings import figures
from railwright.settings.context import Source
from railwright.settings.windows.charging import charges_within, charging_time
from railwright.settings.windows.trip_delay import DELAY_MARGIN
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

HEADROOM = 1.10
"""Least ratio of a current limit, less its error, to the steady current (common practice, no source)."""

ROOM_TO_CHARGE = 1.5
"""Ratio of the chosen current limit to the largest steady current, where the window allows it."""

LIMIT_STEP = 1e-3
"""Step of current limits [A], where the bench gives none."""


def grid(source: Source) -> tuple[float, str]:
    """Step of the input's current limit [A], and whether it was taken."""
    known = [o.programming.current.resolution for o in source.rows if o.programming]
    given = [step for step in known if step]
    several = source.count if source.parallel else 1
    if len(given) < source.count:
        return LIMIT_STEP * several, "the current limit's own step is not given: taken"
    return max(given) * several, ""


def window(source: Source) -> Window:
    """The window of an input's current limit [A], with a recommended value where all is known."""
    step, taken = grid(source)
    ends = ends_of([*_lows(source), *_highs(source)], step)
    found = Window(
        source.name,
        "current_limit",
        "A",
        step,
        taken,
        ends,
        tuple(_lacks(source)),
        dict(zip(source.outputs, source.parts, strict=True)),
    )
    asked = source.limits.current_limit if source.limits else "auto"
    found = replace(found, asked=None if asked == "auto" else float(asked))
    return recommend(found, source)


def recommend(found: Window, source: Source) -> Window:
    """With the recommended value where all is known: some way above the need."""
    if found.lacks or found.colliding() or source.needs is None:
        return found
    value, why = _choice(source, found)
    return replace(found, recommended=value, why=why)


def _error(source: Source, limit: float) -> float:
    return source.limit_error(limit) or 0.0


def _carried(source: Source, limit: float) -> str:
    """What a limit [A] carries for sure, in words."""
    return show(max(0.0, limit - _error(source, limit)), "A")


def _carries(source: Source, need: float) -> Callable[[float], bool]:
    return lambda limit: limit - _error(source, limit) >= need * (1.0 - EXACT)


def _stays_below(source: Source, bound: float) -> Callable[[float], bool]:
    return lambda limit: limit + _error(source, limit) <= bound * (1.0 + EXACT)


def _to_bear(source: Source, needed: str) -> Callable[[float], str]:
    return lambda low: f"{needed} {show(low + _error(source, low), 'A')}"


def carrying(source: Source, current: float) -> float:
    """The limit that, less its error, is a current [A]; by fixed-point iteration, for the grid to settle."""
    limit = current
    for _ in range(8):
        limit = current + _error(source, limit)
    return limit


def _lacks(source: Source) -> Iterator[Impossible]:
    auto = "a current limit cannot be worked out"
    if source.needs is None:
        yield missing(source.at_input, "what the input draws", auto)
    elif source.needs[0] <= 0:
        yield Impossible(
            source.at_input,
            "the load model draws no steady current and none is declared: nothing says what the limit "
            "must carry",
            "declare 'current: {steady: …}' in the device document, or write the current limit",
        )
    if source.input.current.at_most is None:
        path = (*source.at_input, "current", "at_most")
        yield missing(path, "the current that does the input no harm", auto)
    if source.lead.permitted_current is None:
        path = (*source.at_lead, "permitted_current")
        yield missing(path, f"the current that lead '{source.hook_up.lead}' may carry", auto)
    if any(output.programming is None for output in source.rows):
        path = (*source.at_output, "programming")
        yield missing(path, "accuracy or resolution of the current limit", auto)


def _lows(source: Source) -> Iterator[Demand]:
    for need, words, declared in source.asked:
        yield Demand(
            "declared" if declared else "draw",
            "low",
            carrying(source, need),
            _carries(source, need),
            f"{words}, {show(need, 'A')}, plus programming error",
            (*source.at_input, "current", "steady") if declared else (*source.at_input, "load"),
            lambda high: f"an input that draws no more than {_carried(source, high)}",
            "limit-below-need",
        )
    yield from _start(source)
    yield from _charging(source)
    least = max(output.current.low for output in source.rows)
    if least > 0.0:
        yield threshold(
            "range",
            "low",
            least,
            f"the output's range begins at {show(least, 'A')}",
            (*source.at_output, "current"),
            lambda high: f"an output that limits at {show(max(0.0, high), 'A')}",
            "current-range",
        )


def _start(source: Source) -> Iterator[Demand]:
    """A converter that starts at its lowest starting voltage draws the most that it ever does on the way up:
    with less its input falls back while it starts.
    """
    top = source.played.highest
    for index, entry in enumerate(source.input.load):
        if entry.kind != "converter" or top is None:
            continue
        starts = entry.parameters.starts_at.low  # type: ignore[attr-defined]
        drawn = source.load.current(starts) if 0.0 < starts <= top.voltage else None
        if drawn is None:
            continue
        need = drawn.high
        yield Demand(
            "start",
            "low",
            carrying(source, need),
            _carries(source, need),
            f"a converter that starts at {show(starts, 'V')} draws {show(need, 'A')} there, plus programming "
            "error",
            (*source.at_input, "load", index, "converter", "starts_at"),
            lambda high: (
                f"a converter that starts at a higher voltage, and draws no more than "
                f"{_carried(source, high)} there"
            ),
            "limit-below-need",
        )


def _charging(source: Source) -> Iterator[Demand]:
    """A limit that trips charges what is to be charged before a delay that is written is over."""
    if (
        source.limits is None
        or source.limits.at_limit != "trip"
        or source.limits.trip_delay in ("auto", None)
    ):
        return
    delay = float(source.limits.trip_delay)

    def time(value: float) -> float:
        return charging_time(source, value)

    high = charges_within(source, delay)
    if high is None:
        return  # no limit of these outputs does it: the window of the delay says so
    charging = source.longest_charging(high - _error(source, high))
    what = charging.words if charging else "charging what is to be charged"
    yield Demand(
        "charging",
        "low",
        high,
        lambda value: time(value) <= delay,
        f"{what} takes no longer than the trip delay, {show(delay, 's')}, by C·V/(I_limit − I_load)",
        (*source.at_limits, "trip_delay"),
        lambda high: f"a trip delay of {show(time(high), 's')}" if math.isfinite(time(high)) else "",
        "trip-before-charged",
        bracket=True,
    )


def _with_margin(source: Source) -> float:
    """The least limit [A] that leaves a margin above the time in the limit within the delay that is written,
    or else the longest one; 0: it does not trip, or no limit does.
    """
    asked = source.limits.trip_delay if source.limits else None
    reach = [output.trip_delay.high for output in source.rows if output.trip_delay]
    if asked is None or not reach:
        return 0.0
    delay = min(reach) if asked == "auto" else float(asked)
    return charges_within(source, delay / DELAY_MARGIN) or 0.0


def _highs(source: Source) -> Iterator[Demand]:
    bounds = []
    at_most, permitted = source.input.current.at_most, source.lead.permitted_current
    if at_most is not None:
        path = (*source.at_input, "current", "at_most")
        words = f"the device bears {show(at_most, 'A')}"
        bounds.append(("device", at_most, words, path, "a device that bears", "limit-above-device"))
    if permitted is not None:
        path = (*source.at_lead, "permitted_current")
        words = f"lead '{source.hook_up.lead}' bears {show(permitted, 'A')}"
        bounds.append(("lead", permitted, words, path, "a lead that bears", "lead-current"))
    for key, bound, words, path, needed, rule in bounds:
        yield Demand(
            key,
            "high",
            max(0.0, bound - _error(source, bound)),
            _stays_below(source, bound),
            f"{words}, less programming error",
            path,
            _to_bear(source, needed),
            rule,
        )
    full = source.full_current
    yield threshold(
        "range",
        "high",
        full,
        f"the output's range ends at {show(full, 'A')}",
        (*source.at_output, "current"),
        lambda low: f"an output that gives {show(low, 'A')}",
        "current-range",
    )


def _deciding(source: Source) -> str:
    """Which figure for the steady current decides, beside the others."""
    if len(source.asked) < 2:
        return ""
    decides, *others = sorted(source.asked, reverse=True)
    beside = " and ".join(f"{each.words}, {show(each.current, 'A')}" for each in others)
    return f"; {decides.words} decides, being no less than {beside}"


def _overshoot(source: Source) -> float:
    """How far the current may exceed the limit until it has responded [A], at most: no data sheet says it. In
    series one current flows, so that the outputs' do not add up.
    """
    each = [LIMIT_OVERSHOOT.high * output.current.high for output in source.rows]
    return sum(each) if source.parallel else max(each)


def _responding(source: Source) -> float | None:
    """The limit [A] below which the device bears what flows until it has responded; None: unknown, or there
    is none.
    """
    at_most = source.input.current.at_most
    if at_most is None:
        return None
    bears = at_most - _error(source, at_most) - _overshoot(source)
    return bears if bears > 0.0 else None


def _beyond(source: Source, chosen: float, responding: float) -> str:
    """Why a limit [A] is kept low, and whether that keeps what flows until it has responded within what the
    device bears. The window's upper end asks that of what flows afterwards alone, as the rest is assumed.
    """
    more = (
        f"until the limit has responded up to {show(_overshoot(source), 'A')} more may flow "
        f"({LIMIT_OVERSHOOT.high:.0%} of the rated current, assumed, as no data sheet says it)"
    )
    if chosen <= responding * (1.0 + EXACT):
        return f"kept lower: {more}, and the device bears that too"
    assert source.input.current.at_most is not None
    return (
        f"kept as low as the need lets it: {more}, and for so long the device may get more than the "
        f"{show(source.input.current.at_most, 'A')} that it bears; no limit that carries the need prevents "
        f"that, and the upper end holds once the limit has responded"
    )


def _choice(source: Source, found: Window) -> tuple[float, str]:
    """The value that is recommended, and why: some way above the need, within the window."""
    low, high = found.low, found.high
    assert source.needs is not None
    assert low is not None
    assert high is not None
    need = source.needs[0]
    least = HEADROOM * low.value if low.key == "rehearsed" else low.value
    lower = min(max(least, carrying(source, HEADROOM * need), _with_margin(source)), high.value)
    room = ROOM_TO_CHARGE * need
    responding = _responding(source)
    wanted = min(high.value, max(lower, room if responding is None else min(room, responding)))
    borne = responding is not None and lower <= responding < room
    top = min(high.value, responding) if borne and responding is not None else high.value
    value = figures.tidy(wanted, lower, top, found.step)
    held = (
        ""
        if wanted == room
        else f", would be {show(room, 'A')}, which is out of these: the nearer end is taken"
        if responding is None or responding >= room
        else f", would be {show(room, 'A')}; {_beyond(source, value, responding)}"
    )
    with_headroom = (
        f", at least {HEADROOM - 1:.0%} above the need"
        if lower >= carrying(source, HEADROOM * need) * (1.0 - EXACT)
        else f"; there is no room for {HEADROOM - 1:.0%} above the need"
    )
    return value, (
        f"between {show(low.value, 'A')} ({low.why}) and {show(high.value, 'A')} ({high.why})"
        f"{_deciding(source)}; {ROOM_TO_CHARGE:g} times the need, to leave room to charge capacitors{held}"
        f"{with_headroom}; {rounded(value, wanted, 'A', found.step)}"
        f"{f' ({found.taken})' if found.taken else ''}"
    )
