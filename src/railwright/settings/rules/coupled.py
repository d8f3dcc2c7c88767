"""Rules about coupled set points: what a change of one output does to inputs that others feed."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from typing import NamedTuple

from railwright.documents.output_name import OutputName
from railwright.grouping import grouped
from railwright.plan.coupling import followers, limit_step
from railwright.plan.current_limits import LimitAction, out_of_reach, told_limits
from railwright.quantities import Statement, joined, state
from railwright.settings.constraints import current_limit
from railwright.settings.constraints.constraint import broken
from railwright.settings.context import Context, FedInput
from railwright.settings.findings import Severity
from railwright.settings.played import coupling_path, moves_while_on
from railwright.settings.rule import Hit, Outcome, Path, rule


class _TakenAlong(NamedTuple):
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
    """Every move of an input's voltage that comes with that of another one."""
    if not any(supply.coupled for supply in context.used_supplies.values()):
        return
    for name, change, taken, before, after in moves_while_on(
        context.sources, context.bench, context.timeline
    ):
        if taken and change.moved_by is not None:
            yield _TakenAlong(
                context.sources[name],
                change.moved_by,
                dict(followers(context.bench, change.moved_by))[change.output].by,
                context.timeline.spans[context.timeline.actions[change.cause].step].name,
                before,
                after,
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
        more = (
            state("; it must work from {low} to {high}", low=(operating.low, "V"), high=(operating.high, "V"))
            if outside
            else state(", the first of {moves} such moves", moves=len(moves))
            if len(moves) > 1
            else ""
        )
        yield Hit(name, first.path, joined("", (first.words, more)), _REMEDY)


@rule("coupled-limits", Severity.STOP)
def coupled_limits(context: Context) -> Outcome:
    """Current limits that move together cannot be set to what they are to be, in whatever order."""
    feeds = context.plan.set_points
    fed = {output: name for name, feed in feeds.items() for output in feed.names}
    for apart in out_of_reach(context.bench, feeds):
        first, second = apart.outputs
        unit, words, figure = (
            ("A", "minus", "difference") if apart.by == "step" else ("1", "divided by", "ratio")
        )
        reach = (
            state("{low} to {high}", low=(apart.low, unit), high=(apart.high, unit))
            if apart.high - apart.low > EXACT
            else state("{low}", low=(apart.low, unit))
        )
        path = ("bench", "supplies", apart.supply, "coupled", apart.number)
        why = state(
            "the limit of {second} {words} that of {first} must be {wanted}, but the supply moves both "
            "together: from their lowest settings the {figure} can only be {reach}",
            second=second,
            words=words,
            first=first,
            wanted=(apart.wanted, unit),
            figure=figure,
            reach=reach,
        )
        yield Hit(fed[first], path, why, f"write limits that are so far apart, or {_REMEDY}")
    yield from _not_as_told(context)


def _not_as_told(context: Context) -> Outcome:
    """An input of several coupled outputs, told a limit in a step: what is told to one moves another."""
    if not _couples_limits(context):
        return
    limits, feeds = context.timeline.limits, context.plan.set_points
    known = {source.name for source, _ in context.having("current_limit")}
    stands = {each.output: each.current_limit for feed in feeds.values() for each in feed.outputs}
    told = grouped((each.cause, each) for each in context.plan.limits)
    said = set[str]()
    for cause, actions in told.items():
        stands.update({each.output: each.current for each in actions})
        feed, change = feeds[limits[cause].input], limits[cause]
        for output, limit in told_limits(feed, change.current).items():
            moved = abs(stands[output] - limit) > _slack(context, [output])
            if moved and feed.input in known and feed.input not in said:
                said.add(feed.input)
                yield Hit(
                    feed.input,
                    ("procedure", *change.path),
                    state(
                        "{output} is told {told}, and what is told to the others that feed {input} takes it "
                        "to {current}",
                        output=output,
                        told=(limit, "A"),
                        input=feed.input,
                        current=(stands[output], "A"),
                    ),
                    _REMEDY,
                )


class _LimitMoved(NamedTuple):
    """The current limit of an input that is on, `after` [A], where the procedure has it at `asked` [A], as
    `mover` was set in a step and took it along.
    """

    source: FedInput
    settled: float
    mover: OutputName
    by: str
    step: str
    asked: float
    after: float
    path: Path
    slack: float

    @property
    def above(self) -> bool:
        """Whether it is higher than what was settled, and judged."""
        return self.after > self.settled + self.slack

    @property
    def words(self) -> Statement:
        return state(
            "'{step}' sets the current limit of {mover}, which takes that of {input} from {limit_before} to "
            "{limit_after} (coupled by {by})",
            step=self.step,
            mover=self.mover,
            input=self.source.name,
            limit_before=(self.asked, "A"),
            limit_after=(self.after, "A"),
            by=self.by,
        )


def _couples_limits(context: Context) -> bool:
    groups = (group for supply in context.used_supplies.values() for group in supply.coupled)
    return any(group.of == "current_limit" for group in groups)


def _slack(context: Context, outputs: Iterable[OutputName]) -> float:
    """By how much the limit of outputs together may be off what it is told for their grids [A]."""
    return sum(limit_step(context.bench, each) for each in outputs) + EXACT


def _limits_moved(context: Context) -> Iterator[_LimitMoved]:
    """Every current limit that another input's takes along while its input is on, or that it is switched on
    with.
    """
    if not _couples_limits(context):
        return
    timeline, feeds = context.timeline, context.plan.set_points
    known = {source.name for source, _ in context.having("current_limit")}
    asked = {name: feed.limit for name, feed in feeds.items()}
    stands, movers, on = dict(asked), dict[str, LimitAction](), set[str]()

    def seen(name: str) -> Iterator[_LimitMoved]:
        change = movers.get(name)
        if change is None or change.moved_by is None or name not in on or name not in known:
            return
        slack = _slack(context, feeds[name].names)
        if abs(stands[name] - asked[name]) > slack:
            yield _LimitMoved(
                context.sources[name],
                feeds[name].limit,
                change.moved_by,
                dict(followers(context.bench, change.moved_by, "current_limit"))[change.output].by,
                timeline.spans[timeline.limits[change.cause].step].name,
                asked[name],
                stands[name],
                coupling_path(context.bench, change.output, "current_limit"),
                slack,
            )

    changes = deque(context.plan.limits)
    for number in range(len(timeline.actions) + 1):
        while changes and timeline.limits[changes[0].cause].before <= number:
            change = changes.popleft()
            name, stands[change.input] = change.input, change.whole
            if change.moved_by is None or timeline.limits[change.cause].input == name:
                asked[name] = change.whole
                movers.pop(name, None)
            else:
                movers[name] = change
                yield from seen(name)
        if number == len(timeline.actions):
            return
        action = timeline.actions[number]
        if action.kind == "off":
            on.discard(action.input)
        elif action.kind == "on":
            on.add(action.input)
            yield from seen(action.input)


@rule("coupled-limit-above", Severity.STOP)
def coupled_limit_above(context: Context) -> Outcome:
    """Coupled current limits take that of an input above the one that was settled, and judged, for it."""
    found = grouped((each.source.name, each) for each in _limits_moved(context) if each.above)
    for name, moves in found.items():
        worst = max(moves, key=lambda each: each.after)
        yield Hit(
            name,
            worst.path,
            state(
                "{words}: more than the {limit} of 'limits', which was judged by what device and lead bear",
                words=worst.words,
                limit=(worst.settled, "A"),
            ),
            _REMEDY,
        )


@rule("coupled-limit-moves", Severity.CAUTION)
def coupled_limit_moves(context: Context) -> Outcome:
    """Coupled current limits move that of an input that the procedure does not mean to move."""
    found = grouped((each.source.name, each) for each in _limits_moved(context))
    for name, moves in found.items():
        if any(each.above for each in moves):
            continue
        least = min(moves, key=lambda each: each.after)
        short = broken(current_limit.enough(least.source), least.after)
        more = (
            short.breach(least.after)[0]
            if short is not None
            else state("the lowest of {moves} such moves", moves=len(moves))
            if len(moves) > 1
            else ""
        )
        yield Hit(name, least.path, joined("; ", filter(None, (least.words, more))), _REMEDY)


EXACT = 1e-9
"""By how much two sums of limits may differ and still be the same [A]."""

_REMEDY = "uncouple the outputs and remove 'coupled', or feed the input from an output that is not coupled"
