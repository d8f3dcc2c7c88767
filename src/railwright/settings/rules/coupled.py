"""Rules about coupled set points: what a change of one output does to inputs that others feed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from railwright.grouping import grouped
from railwright.plan.coupling import all_changes, followers, tied_limits
from railwright.quantities import Statement, joined, state
from railwright.settings.context import Context, FedInput
from railwright.settings.findings import Severity
from railwright.settings.played import coupling_path
from railwright.settings.rule import Hit, Outcome, Path, rule


@dataclass(frozen=True, slots=True)
class _TakenAlong:
    """An input, switched on, whose voltage goes from `before` to `after` [V] because `mover` was set."""

    source: FedInput
    mover: str
    by: str
    step: str
    before: float
    after: float
    path: Path

    @property
    def words(self) -> Statement:
        return state(
            "'{step}' sets {mover}, which takes {input} along from {voltage_before} to {voltage_after} "
            "(coupled by {by})",
            step=self.step,
            mover=self.mover,
            input=self.source.name,
            voltage_before=(self.before, "V"),
            voltage_after=(self.after, "V"),
            by=self.by,
        )

    @property
    def beyond(self) -> Statement | None:
        """What it exceeds of what the input withstands; None: nothing."""
        withstands = self.source.input.withstands_always
        if withstands is None or self.after <= withstands:
            return None
        return state("it withstands {withstood}", withstood=(withstands, "V"))


def _taken_along(context: Context) -> Iterator[_TakenAlong]:
    if not any(supply.coupled for supply in context.used_supplies.values()):
        return
    feeds = {name: draft.feed for name, draft in context.drafts.items()}
    fed = {points.output: name for name, feed in feeds.items() for points in feed.outputs}
    stands, on = dict.fromkeys(fed, 0.0), dict.fromkeys(fed, False)
    for change in all_changes(context.bench, feeds, context.timeline):
        if change.kind == "off":
            on[change.output] = False
            continue
        on[change.output] = on[change.output] or change.kind == "on"
        source = context.sources[fed[change.output]]
        before = source.together(stands)
        stands[change.output] = change.voltage
        if change.moved_by is None or not on[change.output] or source.name == fed[change.moved_by]:
            continue
        spans = [each for each in context.timeline.spans if each.start <= change.time <= each.end]
        coupling = dict(followers(context.bench, change.moved_by))[change.output]
        yield _TakenAlong(
            source,
            change.moved_by,
            coupling.by,
            spans[-1].name if spans else "the procedure",
            before,
            source.together(stands),
            coupling_path(context.bench, change.output),
        )


@rule("coupled-withstand", Severity.STOP)
def coupled_withstand(context: Context) -> Outcome:
    """Coupled set points take an input to more than it withstands."""
    found = grouped((each.source.name, each) for each in _taken_along(context) if each.beyond is not None)
    for name, (first, *_) in found.items():
        yield Hit(name, first.path, joined("; ", (first.words, first.beyond or "")), _REMEDY)


@rule("coupled-moves", Severity.CAUTION)
def coupled_moves(context: Context) -> Outcome:
    """Coupled set points move an input that the procedure does not mean to move."""
    found = grouped((each.source.name, each) for each in _taken_along(context))
    for name, moves in found.items():
        if any(each.beyond is not None for each in moves):
            continue
        outside = [each for each in moves if each.after not in each.source.input.operating]
        first = (outside or moves)[0]
        operating = first.source.input.operating
        more: str = ""
        if outside:
            more = state(
                "; it must work from {low} to {high}", low=(operating.low, "V"), high=(operating.high, "V")
            )
        elif len(moves) > 1:
            more = state(", the first of {moves} such moves", moves=len(moves))
        yield Hit(name, first.path, joined("", (first.words, more)), _REMEDY)


@rule("coupled-limits", Severity.STOP)
def coupled_limits(context: Context) -> Outcome:
    """Current limits that move together: setting one moves the other, and neither stays as it was set."""
    fed = {output: name for name, source in context.sources.items() for output in source.outputs}
    for supply, number, used in tied_limits(context.bench, list(fed)):
        yield Hit(
            fed[used[0]],
            ("bench", "supplies", supply, "coupled", number),
            state(
                "the current limits of {outputs} move together: setting one moves the other away from what "
                "it was set to",
                outputs=" and ".join(used),
            ),
            _REMEDY,
        )


_REMEDY = "uncouple the outputs and remove 'coupled', or feed the input from an output that is not coupled"
