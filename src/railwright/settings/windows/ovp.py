"""The window of an OVP level: above what stands at the terminals, below what the device withstands."""

from __future__ import annotations

from dataclasses import replace

from railwright.quantities import state
from railwright.settings import figures
from railwright.settings.constraints.ovp import facts
from railwright.settings.context import FedInput
from railwright.settings.windows.window import Window, between, rounded, window_of

OVP_MARGIN = 0.03
"""Least distance of an OVP level, less its error, above the highest voltage played, in parts of it."""

OVP_STEP = 0.01
"""Step of OVP levels [V], which a bench does not give."""


def grid(source: FedInput) -> float:
    """Step of the input's OVP level [V]: the sum of its outputs' in series."""
    return OVP_STEP * (source.count if source.series else 1)


def window(source: FedInput, limit: float | None) -> Window:
    """The window of an input's OVP level [V], with a recommended value where all is known.

    limit [A]: the current limit, which the drop on a sensed lead hangs on; None: there is none, and the drop
    is left out.
    """
    return recommend(
        window_of(
            source,
            "ovp",
            grid(source),
            facts(source, limit),
            source.shares,
            source.limits.ovp,
            "the OVP's own step is not given: taken",
        )
    )


def recommend(found: Window) -> Window:
    """With the recommended value: the middle of the window, with a margin above what is played."""
    low, high = found.low, found.high
    if found.lacks or found.colliding() or low is None or high is None:
        return found
    least = (
        min(low.value * (1.0 + OVP_MARGIN), high.value) if low.key in ("played", "rehearsed") else low.value
    )
    middle = (least + high.value) / 2
    value = figures.two_digits(middle, least, high.value, found.step)
    room = "counted from" if least < high.value else "there is no room for"
    return replace(
        found,
        recommended=value,
        why=state(
            "in the middle {between}, {room} {margin:.0%} above the lower end; {rounding} ({taken})",
            between=between(found, low, high),
            room=room,
            margin=(OVP_MARGIN, "1"),
            rounding=rounded(value, middle, "V", found.step),
            taken=found.taken,
        ),
    )
