"""A timeline on the outputs that feed its inputs: the plan that is rehearsed, shown, run and reported."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

from railwright.documents.bench import Bench
from railwright.documents.loader import Documents
from railwright.plan.current_limits import LimitAction, limit_actions
from railwright.plan.delivery import Delivery, deliveries
from railwright.plan.listing import Listing, as_played, shape_actions, with_actions, with_ends
from railwright.plan.sending import Sending, sending
from railwright.plan.set_points import SetPoints
from railwright.plan.stairs import after_jumps, exchange_of, in_stairs, set_error
from railwright.plan.timeline import Timeline, timeline_of
from railwright.quantities import show
from railwright.traces import Span

if TYPE_CHECKING:
    from railwright.plan.moves import Move, Moves


@dataclass(frozen=True, eq=False)
class Plan:
    """What the procedure asks (`timeline`), and how it reaches the outputs.

    deliveries: how each shape reaches each input that it moves.
    """

    timeline: Timeline
    set_points: SetPoints
    bench: Bench
    deliveries: tuple[Delivery, ...]

    @cached_property
    def spans(self) -> tuple[Span, ...]:
        """The steps, in order; with the set points that the host leaves out, or sends late, where what is
        played is no longer what is asked.
        """
        accepted = {(d.step, d.input) for d in self.deliveries if d.serves and not d.host.keeps}
        return self.sending.spans(self.timeline.spans, accepted)

    @property
    def duration(self) -> float:
        """Of the whole [s], on the timeline's own clock."""
        return self.timeline.duration

    @property
    def listings(self) -> tuple[Listing, ...]:
        """What is played by the outputs' own point lists."""
        return tuple(each.listing for each in self.deliveries if each.listing is not None)

    @cached_property
    def limits(self) -> tuple[LimitAction, ...]:
        """Every change of a current limit, those that come by coupling with them."""
        return tuple(limit_actions(self.bench, self.set_points, self.timeline))

    @cached_property
    def played(self) -> Timeline:
        """The timeline as the outputs play it: point lists in place of what they play, stairs in place of
        lines that the outputs have no slew for, and of set points that come too soon those that the host
        sends, when it sends them.
        """
        told = self.sending.told(self._in_stairs)
        timeline = replace(self.sending.reached(self._after_jumps(told)), spans=self.spans)
        return as_played(timeline, self.listings)

    @cached_property
    def sending(self) -> Sending:
        """What the host sends in the steps whose set points it cannot all keep."""
        return sending(self._in_stairs, self.set_points, self.bench, self.listings)

    def _after_jumps(self, timeline: Timeline) -> Timeline:
        return after_jumps(timeline, self.set_points, self.bench, self._listed)

    @cached_property
    def _in_stairs(self) -> Timeline:
        return in_stairs(self._by_host, self.set_points, self.bench, self._listed)

    @cached_property
    def _listed(self) -> dict[tuple[int, str], float]:
        """Step and input that point lists play, with the level that they end with [V]."""
        return {(each.step, each.input): float(each.points.voltages[-1]) for each in self.listings}

    @cached_property
    def _by_host(self) -> Timeline:
        """The timeline with jumps in place of a captured waveform's edges that the outputs cannot follow."""
        instead = {
            (each.step, each.input): each.actions
            for each in self.deliveries
            if each.actions is not None and each.listing is None
        }
        return with_ends(with_actions(self.timeline, instead), self._asked_after_lists)

    @cached_property
    def _asked_after_lists(self) -> dict[tuple[int, str], float]:
        """Step and input that point lists play -> where it is asked to stand at the end [V], where the list
        ends farther from that than the outputs' own error.
        """
        own = shape_actions(self.timeline) if self.listings else {}
        asked = {key: own[key].actions[-1].voltage for key in self._listed}
        return {
            key: asked[key]
            for key, last in self._listed.items()
            if abs(last - asked[key]) > set_error(self.set_points[key[1]], self.bench, last)
        }

    @property
    def moves(self) -> tuple[Move, ...]:
        """What is told to the outputs, in order of time."""
        return self._told.moves

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """Where the bench cannot do exactly what the procedure asks, and what point lists play."""
        lists = [
            f"{self.spans[each.step].name}: {each.input}: played by the outputs' own point list: {each.why}"
            for each in self.deliveries
            if each.listing is not None
        ]
        return (*self._told.notes, *self._unkept, *lists)

    @property
    def _unkept(self) -> Iterator[str]:
        """Where the host cannot send all set points at their time."""
        for (step, name), left_out in self.sending.left_out.items():
            if self.sending.misses(step, name):
                late = self.sending.late[step, name]
                apart = show(exchange_of(self.set_points[name].names, self.bench), "s")
                yield (
                    f"{self.spans[step].name}: {name}: {left_out} set points are left out, the others up to "
                    f"{show(late, 's')} late: the host keeps {apart} between two"
                )

    @cached_property
    def _told(self) -> Moves:
        from railwright.plan.moves import moves_of

        told = self._after_jumps(self.sending.told(self._by_host))
        return moves_of(told, self.set_points, self.bench, self.listings)


def deliver(timeline: Timeline, set_points: SetPoints, bench: Bench) -> Plan:
    """The plan of a timeline on these outputs. Pure."""
    return Plan(timeline, set_points, bench, deliveries(timeline, set_points, bench))


def plan_of(documents: Documents, set_points: SetPoints) -> Plan:
    """The plan of the procedure on these outputs. Pure."""
    return deliver(timeline_of(documents.procedure, documents.device), set_points, documents.bench)
