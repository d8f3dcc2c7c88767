"""The window of an OPP level: above the power that normal operation takes, below what the device bears."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from railwright.quantities import state
from railwright.settings import figures
from railwright.settings.constraints.constraint import EXACT, Constraint, threshold
from railwright.settings.constraints.power import facts
from railwright.settings.context import FedInput
from railwright.settings.windows.window import NOTHING_PLAYED, Window, between, rounded, window_of

OPP_MARGIN = 1.25
"""Ratio of the chosen OPP level to the greatest power of normal operation, where the window allows it (common
practice, no source).
"""

OPP_STEP = 0.1
"""Step of OPP levels [W], which a bench does not give."""


def window(source: FedInput, limit: float | None, ovp: float | None) -> Window:
    """The window of an input's OPP level [W], with a recommended value where all is known.

    limit [A], ovp [V]: the current limit and the OVP level, which may hold the power below; None: there is
    none yet. The bench gives no accuracy of an OPP: none is taken off.
    """
    return recommend(
        window_of(
            source,
            "opp",
            OPP_STEP * source.count,
            [*facts(source, limit), *_idle(source, limit, ovp)],
            source.power_parts,
            source.limits.opp,
            "the OPP's own step is not given: taken",
            [] if source.played.levels else [NOTHING_PLAYED],
        )
    )


def _idle(source: FedInput, limit: float | None, ovp: float | None) -> Iterator[Constraint]:
    """Above what current limit and OVP let through it would never act."""
    if limit is not None and ovp is not None:
        held = source.ovp_with_error(ovp) * source.at_most(limit)
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


def recommend(found: Window) -> Window:
    """With the recommended value: some way above what normal operation takes."""
    low, high = found.low, found.high
    if found.lacks or found.colliding() or low is None or high is None:
        return found
    margin = 1.0 if low.key == "range" else OPP_MARGIN
    wanted = min(margin * low.value, high.value)
    room = state("{ratio:g} times the lower end", ratio=(OPP_MARGIN, "1"))
    if wanted >= high.value:
        room = state("there is no room for {ratio:g} times the lower end", ratio=(OPP_MARGIN, "1"))
    value = figures.tidy(wanted, min(low.value * (1.0 + EXACT), high.value), high.value, found.step)
    return replace(
        found,
        recommended=value,
        why=state(
            "{between}, {room}; {rounding} ({taken})",
            between=between(found, low, high),
            room=room,
            rounding=rounded(value, wanted, "W", found.step),
            taken=found.taken,
        ),
    )
