"""The window of the rate at which an input rises: slow enough for the limit, fast enough for the device.

All ends are closed forms. That the limit acts while an input rises is no fault by itself: where a rate is
written a note tells it, `ramp-in-limit`; for `rise: auto` it is an end like any other. That a converter's
soft start ends before the input has risen is no demand: the current limit carries what it draws from the
lowest voltage at which it may start.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

from railwright.documents.loader import Documents
from railwright.quantities import show, state
from railwright.settings import figures
from railwright.settings.constraints.constraint import EXACT
from railwright.settings.constraints.rise import facts
from railwright.settings.context import FedInput
from railwright.settings.windows import current_limit
from railwright.settings.windows.window import Window, between, rounded, window_of

RISE_STEP = 1.0
"""Step of rates of rise [V/s], which a bench does not give."""

RISE_MARGIN = 1.25
"""Ratio of the fastest rate that is right to the one that is chosen (common practice, no source)."""


def window(
    source: FedInput, documents: Documents, limit: float | None, number: int | None = None
) -> Window | None:
    """The window of an input's rate of rise [V/s] in its first power-up, or in the step of that number; None:
    it has none.

    limit [A]: the current limit; None: there is none yet.
    """
    power_ups = (each for each in source.played.moves if each.from_off)
    rise = next((each for each in power_ups if number in (None, each.path[2])), None)
    if rise is None or rise.stop <= 0.0:
        return None
    found = facts(source, rise, documents, limit, partial(_limit_for, source))
    taken = "the rate's own step is not given: taken"
    whole = window_of(source, "rise", RISE_STEP, found, source.shares, rise.rate, taken)
    return recommend(replace(whole, path=rise.path))


def recommend(found: Window) -> Window:
    """With the recommended value: some way below the rate that the limit or the output bears."""
    low, high = found.low, found.high
    if found.lacks or found.colliding() or high is None or high.value <= 0.0:
        return found
    # Where it has to be there before no other, on outputs without a slew, it may rise as slowly as it likes.
    least = low.value if low is not None else 0.0
    wanted = max(least, high.value / RISE_MARGIN)
    value = figures.tidy(wanted, least, high.value, found.step)
    ends = (
        between(found, low, high)
        if low is not None
        else state(
            "from 0 V/s on and at most {high} ({high_end})", high=(high.value, found.unit), high_end=high.why
        )
    )
    return replace(
        found,
        recommended=value,
        why=state(
            "{ends}, the latter by {ratio:g}; {rounding} ({taken})",
            ends=ends,
            ratio=(RISE_MARGIN, "1"),
            rounding=rounded(value, wanted, "V/s", found.step),
            taken=found.taken,
        ),
    )


def _limit_for(source: FedInput, needed: float) -> str:
    """The current limit that carries a current [A], and whether its own window holds it, in words."""
    least, high = current_limit.least_limit(source, needed), current_limit.window(source).high
    holds = (
        ""
        if high is None
        else f", which its window up to {show(high.value, 'A')} holds"
        if least <= high.value * (1.0 + EXACT)
        else f" (beyond its window, which ends at {show(high.value, 'A')}: {high.why})"
    )
    return f"a current limit of {show(least, 'A', 5)}{holds}"
