"""The window of a current limit: above what is drawn, below what device, lead and outputs bear."""

from __future__ import annotations

from dataclasses import replace

from railwright.circuit.parts import LIMIT_OVERSHOOT
from railwright.quantities import joined, state
from railwright.settings import figures
from railwright.settings.constraints.constraint import EXACT
from railwright.settings.constraints.current_limit import carrying, charges_within, facts
from railwright.settings.context import FedInput
from railwright.settings.windows.trip_delay import DELAY_MARGIN
from railwright.settings.windows.window import Impossible, Window, between, rounded, window_of

HEADROOM = 1.10
"""Least ratio of a current limit, less its error, to the steady current (common practice, no source)."""

ROOM_TO_CHARGE = 1.5
"""Ratio of the chosen current limit to the largest steady current, where the window allows it."""

LIMIT_STEP = 1e-3
"""Step of current limits [A], where the bench gives none."""


def grid(source: FedInput) -> tuple[float, str]:
    """Step of the input's current limit [A], and whether it was taken."""
    given = [step for o in source.rows if o.programming and (step := o.programming.current.resolution)]
    several = source.count if source.parallel else 1
    if len(given) < source.count:
        return LIMIT_STEP * several, "the current limit's own step is not given: taken"
    return max(given) * several, ""


def window(source: FedInput) -> Window:
    """The window of an input's current limit [A], with a recommended value where all is known."""
    step, taken = grid(source)
    nothing = Impossible(
        source.at_input,
        "the load model draws no steady current and none is declared: nothing says what the limit must carry",
        "declare 'current: {steady: …}' in the device document, or write the current limit",
    )
    needs = source.in_operation.needs
    lacks = [nothing] if needs is not None and needs[0] <= 0 else []
    asked = source.limits.current_limit
    found = window_of(source, "current_limit", step, facts(source), source.parts, asked, taken, lacks)
    return recommend(found, source.in_operation)


def recommend(found: Window, source: FedInput) -> Window:
    """With the recommended value where all is known: some way above the need."""
    if found.lacks or found.colliding() or source.needs is None or source.fed_current is not None:
        return found
    value, why = _choice(source, found)
    return replace(found, recommended=value, why=why)


def _with_margin(source: FedInput) -> float:
    """The least limit [A] that leaves a margin above the time in the limit within the delay that is written,
    or else the longest one; 0: it does not trip, or no limit does.
    """
    asked = source.limits.trip_delay
    reach = [output.trip_delay.high for output in source.rows if output.trip_delay]
    if asked is None or not reach:
        return 0.0
    delay = min(reach) if asked == "auto" else float(asked)
    return charges_within(source, delay / DELAY_MARGIN) or 0.0


def _deciding(source: FedInput) -> str:
    """Which figure for the steady current decides, beside the others."""
    if len(source.asked) < 2:
        return ""
    decides, *others = sorted(source.asked, reverse=True)
    beside = joined(
        " and ",
        (state("{words}, {needed}", words=each.words, needed=(each.current, "A")) for each in others),
    )
    return state("; {decides} decides, being no less than {beside}", decides=decides.words, beside=beside)


def _overshoot(source: FedInput) -> float:
    """How far the current may exceed the limit until it has responded [A], at most: no data sheet says it. In
    series one current flows, so that the outputs' do not add up.
    """
    return (sum if source.parallel else max)(LIMIT_OVERSHOOT.high * o.current.high for o in source.rows)


def _responding(source: FedInput) -> float | None:
    """The limit [A] below which the device bears what flows until it has responded; None: unknown, or there
    is none.
    """
    at_most = source.input.current.at_most
    if at_most is None:
        return None
    bears = at_most - (source.limit_error(at_most) or 0.0) - _overshoot(source)
    return bears if bears > 0.0 else None


def _beyond(source: FedInput, chosen: float, responding: float) -> str:
    """Why a limit [A] is kept low, and whether that keeps what flows until it has responded within what the
    device bears. The window's upper end asks that of what flows afterwards alone, as the rest is assumed.
    """
    more = state(
        "until the limit has responded up to {overshoot} more may flow ({part_of_rated:.0%} of the rated "
        "current, assumed, as no data sheet says it)",
        overshoot=(_overshoot(source), "A"),
        part_of_rated=(LIMIT_OVERSHOOT.high, "1"),
    )
    if chosen <= responding * (1.0 + EXACT):
        return state("kept lower: {more}, and the device bears that too", more=more)
    assert source.input.current.at_most is not None
    return state(
        "kept as low as the need lets it: {more}, and for so long the device may get more than the {borne} "
        "that it bears; no limit that carries the need prevents that, and the upper end holds once the limit "
        "has responded",
        more=more,
        borne=(source.input.current.at_most, "A"),
    )


def _choice(source: FedInput, found: Window) -> tuple[float, str]:
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
        else state(", would be {room}, which is out of these: the nearer end is taken", room=(room, "A"))
        if responding is None or responding >= room
        else state(", would be {room}; {kept}", room=(room, "A"), kept=_beyond(source, value, responding))
    )
    with_headroom = (
        state(", at least {headroom:.0%} above the need", headroom=(HEADROOM - 1, "1"))
        if lower >= carrying(source, HEADROOM * need) * (1.0 - EXACT)
        else state("; there is no room for {headroom:.0%} above the need", headroom=(HEADROOM - 1, "1"))
    )
    return value, state(
        "{between}{deciding}; {ratio:g} times the need, to leave room to charge capacitors{held}"
        "{with_headroom}; {rounding}{taken}",
        between=between(found, low, high),
        deciding=_deciding(source),
        ratio=(ROOM_TO_CHARGE, "1"),
        held=held,
        with_headroom=with_headroom,
        rounding=rounded(value, wanted, "A", found.step),
        taken=f" ({found.taken})" if found.taken else "",
    )
