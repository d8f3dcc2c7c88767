"""A timeline on the outputs that feed its inputs: the plan that is rehearsed, shown, run and reported."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from railwright.documents.bench import Bench
from railwright.documents.loader import Documents
from railwright.plan.delivery import Delivery, deliveries
from railwright.plan.listing import Listing, as_played, with_actions
from railwright.plan.moves import Move, Moves, moves_of
from railwright.plan.set_points import SetPoints
from railwright.plan.stairs import in_stairs
from railwright.plan.timeline import Timeline, timeline_of
from railwright.traces import Span


@dataclass(frozen=True, eq=False)
class Plan:
    """What the procedure asks (`timeline`), and how it reaches the outputs.

    deliveries: how each shape reaches each input that it moves.
    """

    timeline: Timeline
    set_points: SetPoints
    bench: Bench
    deliveries: tuple[Delivery, ...]

    @property
    def spans(self) -> tuple[Span, ...]:
        """The steps, in order."""
        return self.timeline.spans

    @property
    def duration(self) -> float:
        """Of the whole [s], on the timeline's own clock."""
        return self.timeline.duration

    @property
    def listings(self) -> tuple[Listing, ...]:
        """What is played by the outputs' own point lists."""
        return tuple(each.listing for each in self.deliveries if each.listing is not None)

    @cached_property
    def played(self) -> Timeline:
        """The timeline as the outputs play it: point lists in place of what they play, and stairs in place of
        lines that the outputs have no slew for.
        """
        return as_played(in_stairs(self._by_host, self.set_points, self.bench), self.listings)

    @cached_property
    def _by_host(self) -> Timeline:
        """The timeline with jumps in place of a captured waveform's edges that the outputs cannot follow."""
        instead = {
            (each.step, each.input): each.actions
            for each in self.deliveries
            if each.actions is not None and each.listing is None
        }
        return with_actions(self.timeline, instead)

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
        return (*self._told.notes, *lists)

    @cached_property
    def _told(self) -> Moves:
        return moves_of(self._by_host, self.set_points, self.bench, self.listings)


def deliver(timeline: Timeline, set_points: SetPoints, bench: Bench) -> Plan:
    """The plan of a timeline on these outputs. Pure."""
    return Plan(timeline, set_points, bench, deliveries(timeline, set_points, bench))


def plan_of(documents: Documents, set_points: SetPoints) -> Plan:
    """The plan of the procedure on these outputs. Pure."""
    return deliver(timeline_of(documents.procedure, documents.device), set_points, documents.bench)
