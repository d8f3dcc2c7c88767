"""Rules about what lies inside a device between connector and load: its fuse, its diode, its filter.

References
----------
.. [1] Series R-L-C circuit on a step (textbook): with ζ = R/2 √(C/L) below 1 the capacitor overshoots by
   exp(-π ζ / √(1 - ζ²)) of the step, half a period π √(L C) after it.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from railwright.plan.set_points import Feed
from railwright.quantities import state
from railwright.settings.context import FedInput
from railwright.settings.findings import Severity
from railwright.settings.rule import Hit, Outcome, Unknown, of_every, rule
from railwright.settings.rules.judge import having, inputs

RINGS = 0.05
"""Overshoot from which it is told, in parts of the step (chosen)."""


class Ringing(NamedTuple):
    """What a filter makes of a step: its overshoot in parts of it, and how long half a period is [s]."""

    overshoot: float
    half_period: float


@rule("inside-resistance", Severity.NOTE)
@of_every(inputs)
def inside_resistance(source: FedInput) -> Outcome:
    """Part of what lies inside a device is not counted in the drop to its load, since its resistance is not
    given.
    """
    for part in source.input.inside.unknown if source.input.inside else ():
        yield Unknown(
            source.name,
            (*source.at_inside, part),
            f"resistance of the {part} inside",
            "its part in the drop between connector and load",
        )


@rule("fuse-inside-stays", Severity.NOTE)
@of_every(having("current_limit"))
def fuse_inside_stays(source: FedInput, feed: Feed) -> Outcome:
    """At the current limit the fuse inside never opens: a fault behind it is ended by the supply alone."""
    fused = source.input.inside.fuse if source.input.inside else None
    if fused is None:
        return
    through = source.at_most(feed.limit)
    if math.isinf(fused.opens_after(through)):
        yield Hit(
            source.name,
            (*source.at_inside, "fuse"),
            state(
                "the limit lets {let_through} through (with programming error), which the fuse inside bears "
                "for any time ({continuous}): it ends no fault on this bench",
                let_through=(through, "A"),
                continuous=(fused.curve[0].current, "A"),
            ),
            "rely on the supply's trip, not on the fuse; to try the fuse take a limit above its curve",
        )


@rule("filter-rings", Severity.CAUTION)
@of_every(inputs)
def filter_rings(source: FedInput) -> Outcome:
    """A step that is played makes the filter inside ring: its load sees more than the step goes to."""
    rings = _ringing(source)
    if rings is None or rings.overshoot < RINGS:
        return
    for move in source.played.moves:
        if move.stop <= move.start:
            continue
        rate = move.rate if move.rate is not None else math.inf
        slews = [output.slew.high for output in source.rows if output.slew is not None]
        if len(slews) == source.count:
            rate = min(rate, sum(slews) if source.series else min(slews))
        if (move.stop - move.start) / rate > rings.half_period:
            continue
        peak = move.stop + rings.overshoot * (move.stop - move.start)
        borne = source.input.withstands_always or source.input.operating.high
        if peak > borne:
            yield Hit(
                source.name,
                move.path,
                state(
                    "{start} to {stop} within {half_period}, half a period of the choke and the capacitors "
                    "inside: behind them the voltage may reach {peak}, where the current limit does not hold "
                    "it back; {borne} is borne at the connector, and no figure is given for what is behind",
                    start=(move.start, "V"),
                    stop=(move.stop, "V"),
                    half_period=(rings.half_period, "s"),
                    peak=(peak, "V"),
                    borne=(borne, "V"),
                ),
                "let it rise more slowly than that, and look at the rehearsal's current",
            )
            return


def _ringing(source: FedInput) -> Ringing | None:
    """The strongest ringing within the tolerances that are given; a resistance that is not counts nothing.
    None: there is no choke, or no capacitor behind it.
    """
    inside = source.input.inside
    if inside is None or inside.choke is None:
        return None
    behind = source.load.behind_choke
    if not behind:
        return None
    henries = inside.inductance.high
    farads = sum(each.capacitance.low for each in behind)
    most = sum(each.capacitance.high for each in behind)
    least = min(each.esr.low if each.esr else 0.0 for each in behind) / len(behind)
    ohms = inside.resistance.low + least
    damping = ohms / 2.0 * math.sqrt(farads / henries)
    if damping >= 1.0:
        return None
    overshoot = math.exp(-math.pi * damping / math.sqrt(1.0 - damping**2))
    return Ringing(overshoot, math.pi * math.sqrt(henries * most))
