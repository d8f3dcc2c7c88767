"""The window of a current limit: above what is drawn, below what device, lead and outputs bear."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial

from railwright.quantities import joined, state
from railwright.settings import figures
from railwright.settings.constraints.constraint import EXACT
from railwright.settings.constraints.current_limit import carrying, charges_within, facts
from railwright.settings.context import FedInput
from railwright.settings.windows.window import (
    DELAY_MARGIN,
    End,
    Impossible,
    Window,
    between,
    rounded,
    window_of,
)

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


def least_limit(source: FedInput, need: float) -> float:
    """The least current limit [A] on the outputs' grid that, less its error, carries a need [A]."""
    step, _ = grid(source)
    return math.ceil(carrying(source, need) / step * (1.0 - EXACT)) * step


def window(source: FedInput) -> Window:
    """The window of an input's current limit [A], with a recommended value where all is known."""
    step, taken = grid(source)
    nothing = Impossible(
        source.at_input,
        "the load model draws no steady current and none is declared: nothing says what the limit must carry",
        "declare 'current: {steady: …}' in the device document, or write the current limit",
    )
    needs, asked = source.in_operation.needs, source.limits.current_limit
    lacks = [nothing] if needs is not None and needs.current <= 0 else []
    found = window_of(source, "current_limit", step, facts(source), source.parts, asked, taken, lacks)
    return found.recommending(partial(chosen, source.in_operation))


def chosen(source: FedInput, found: Window, low: End, high: End) -> tuple[float | None, str]:
    """A current limit some way above the need, within the window, and why; None: nothing says what it must
    carry.
    """
    needs = source.needs
    if source.fed_current is not None or needs is None:
        return None, ""
    least = HEADROOM * low.value if low.key == "rehearsed" else low.value
    carries = carrying(source, HEADROOM * needs.current)
    lower = min(max(least, carries, _with_margin(source)), high.value)
    room = ROOM_TO_CHARGE * needs.current
    gives_way = [end for end in found.ends if end.yields and end not in found.bounding and end.value > 0.0]
    wanted = lower if gives_way else min(high.value, max(lower, room))
    value = figures.tidy(wanted, lower, high.value, found.step)
    return value, state(
        "{between}{deciding}; {ratio:g} times the need, to leave room to charge capacitors{held}"
        "{with_headroom}; {rounding}{taken}",
        between=between(found, low, high),
        deciding=_deciding(source, low),
        ratio=(ROOM_TO_CHARGE, "1"),
        held=_held(room, gives_way) if wanted != room else "",
        with_headroom=state(
            ", at least {headroom:.0%} above the {what}",
            headroom=(HEADROOM - 1, "1"),
            what="lower end" if least > carries else "need",
        )
        if lower >= carries * (1.0 - EXACT)
        else state("; there is no room for {headroom:.0%} above the need", headroom=(HEADROOM - 1, "1")),
        rounding=rounded(value, wanted, "A", found.step),
        taken=f" ({found.taken})" if found.taken else "",
    )


def _held(room: float, gives_way: Sequence[End]) -> str:
    """Why a limit is not the one that leaves room to charge [A]. gives_way: ends that are kept as far as can
    be.
    """
    if not gives_way:
        return state(", would be {room}, which is out of these: the nearer end is taken", room=(room, "A"))
    return state(
        ", would be {room}; it is kept low instead, as {more}, which no limit that carries the need prevents "
        "(the upper end holds once the limit has responded)",
        room=(room, "A"),
        more=gives_way[0].why,
    )


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


def _deciding(source: FedInput, low: End) -> str:
    """Which figure decides: what the rehearsal needs, or of those for the steady current the greatest."""
    decides, *others = sorted(source.asked, reverse=True)
    beside = joined(
        " and ",
        (state("{words}, {needed}", words=each.words, needed=(each.current, "A")) for each in others),
    )
    if low.key == "rehearsed" and low.value > decides.current:
        return state(
            "; the rehearsal decides: steady operation needs only {needed} ({words}{others})",
            needed=(decides.current, "A"),
            words=decides.words,
            others=state(", no less than {beside}", beside=beside) if others else "",
        )
    decided = state("; {decides} decides, being no less than {beside}", decides=decides.words, beside=beside)
    return decided if others else ""
