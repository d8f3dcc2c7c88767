"""What the rehearsed rules look at: the documents bound together, and a rehearsal's record."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from railwright.assumptions import Assumption
from railwright.evaluation.outcome import Result
from railwright.frozen import kept
from railwright.plan.plan import plan_of
from railwright.plan.required_trip import not_required
from railwright.rehearsal.surges import ClosingSurge, surges
from railwright.settings.context import BoundDocuments, FedInput
from railwright.traces import Event, EventKind, Record, Traces, runs_of

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from railwright.physics.start_up import Start


@dataclass(frozen=True)
class Rehearsed:
    """A rehearsal beside everything it was made from; judged: its requirements, in the procedure's order."""

    context: BoundDocuments
    record: Record
    assumptions: tuple[Assumption, ...]
    judged: tuple[Result, ...] = ()

    @kept
    def start(self, name: str) -> Start | None:
        """How the first power-up of an input ends by its operating points, in the hardest case; None: it is
        not powered up. Looked for once an input, as it takes up to a second: only rules that found something
        ask.
        """
        from railwright.rehearsal.starts import hardest, starts

        return starts(self.context.documents, {name: self.context.feeds[name]}, hardest).get(name)

    @cached_property
    def surges(self) -> list[ClosingSurge]:
        """What flows as each contact closes under a voltage."""
        documents, feeds = self.context.documents, self.context.feeds
        return surges(documents, feeds, plan_of(documents, feeds).played, self.record.traces)

    def events(self, source: FedInput, *kinds: EventKind) -> list[Event]:
        """Events of these kinds of an input or its outputs."""
        own = {source.name, *source.outputs}
        return [event for event in self.record.events if event.subject in own and event.kind in kinds]

    def trips(self, source: FedInput) -> list[Event]:
        """Trips of an input's outputs."""
        return self.events(source, *(kind for kind in EventKind if kind.trip))

    @cached_property
    def unwanted_trips(self) -> tuple[Event, ...]:
        """Trips that the procedure does not require."""
        return not_required(self.context.procedure, self.record.spans, self.record.events)

    def step_words(self, time: float) -> str:
        """The step that is played at a time [s], for people."""
        return next(
            (f"'{span.name}'" for span in self.record.spans if span.start <= time <= span.end),
            "the procedure",
        )


def rehearsed_inputs(rehearsed: Rehearsed) -> Iterator[tuple[FedInput, Traces]]:
    """Inputs that were rehearsed, with their traces."""
    sources = rehearsed.context.sources
    return ((sources[name], own) for name, own in rehearsed.record.traces.items() if name in sources)


def stretches(time: NDArray[np.float64], holds: NDArray[np.bool_]) -> list[tuple[float, float]]:
    """Stretches of time [s] over which a condition holds without a break; shape (n,) both."""
    last = time.size - 1
    return [(float(time[begin]), float(time[min(end, last)])) for begin, end in runs_of(holds)]


def longest(time: NDArray[np.float64], holds: NDArray[np.bool_]) -> tuple[float, float] | None:
    """The longest of these stretches: its start and its length [s]; None: there is none."""
    lengths = ((start, end - start) for start, end in stretches(time, holds))
    return max(lengths, key=lambda each: each[1], default=None)
