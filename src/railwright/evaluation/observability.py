"""What lets a surge through that a supply's own readings cannot see: the same before a run and after it."""

from __future__ import annotations

from collections.abc import Sequence

from railwright.circuit.leads import lead_resistance
from railwright.documents.bench import Bench, Output
from railwright.evaluation.hiding_bounds import given_at_most, limits_of
from railwright.physics.surge import SurgePath
from railwright.plan.set_points import Feed

SETTLING = 0.5
"""First part of each point of a sweep that is left out: the voltage settles there."""


def all_known(values: Sequence[float | None]) -> list[float] | None:
    """The values, where every one is known."""
    known = [value for value in values if value is not None]
    return known if known and len(known) == len(values) else None


def surge_path(bench: Bench, feed: Feed) -> SurgePath:
    """What a surge of one input goes through: its lead, and its outputs up to their limits with errors."""
    outputs = [bench.output(points.output) for points in feed.outputs]
    limits = [limit + tolerance for limit, tolerance in limits_of(feed, outputs)]
    firsts = given_at_most(feed, outputs)
    parallel = feed.arrangement == "parallel"
    lead = bench.leads[feed.lead]
    through = lead_resistance(lead, bench, bench.fixture(feed.fixture))
    return SurgePath(
        limit=sum(limits) if parallel else max(limits),
        resistance=through.low if through.contacts else None,
        inductance=None if lead.inductance is None else lead.inductance * lead.one_way_length or None,
        capacitance=_capacitance(feed, outputs),
        first=sum(firsts) if parallel else max(firsts),
        response=max(all_known([output.limit_response for output in outputs]) or [0.0]) or None,
    )


def _capacitance(feed: Feed, outputs: Sequence[Output]) -> float | None:
    """Capacitance that gives no less at any charge than the outputs' do together [F].

    Of outputs in series each holds its share of the voltage; once the smallest is empty, its reverse diode
    lets the current of the others past. One of the largest C·share at the whole voltage is never below them.
    """
    known = all_known([output.output_capacitance for output in outputs])
    if known is None:
        return None
    if feed.arrangement != "series":
        return sum(known)
    return max(farads * points.share for farads, points in zip(known, feed.outputs, strict=True))
