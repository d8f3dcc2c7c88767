"""Rules about coupled set points: what a change of one output does to inputs that others feed."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from itertools import zip_longest
from typing import NamedTuple

from railwright.documents.output_name import OutputName
from railwright.grouping import grouped
from railwright.plan.coupling import SetPoint, followers, limit_step
from railwright.plan.current_limits import LimitAction, out_of_reach, settled_limits, told_limits
from railwright.quantities import Statement, joined, named, state
from railwright.settings.constraints import current_limit
from railwright.settings.constraints.constraint import broken
from railwright.settings.context import Context, FedInput
from railwright.settings.findings import Severity
from railwright.settings.played import coupling_path, moves_while_on
from railwright.settings.rule import Hit, Outcome, Path, rule


class _Moved(NamedTuple):
    """An input, switched on, of which the voltage or the current limit goes from `before` to `after` [V or A]
    because that of `mover` was set in a step, and took it along: `output`, which feeds the input, first.
    """

    context: Context
    of: SetPoint
    source: FedInput
    output: OutputName
    mover: OutputName
    step: int
    before: float
    after: float

    @property
    def path(self) -> Path:
        """Where it is written that they are coupled."""
        return coupling_path(self.context.bench, self.output, self.of)

    @property
    def words(self) -> Statement:
        mover, taken = self.mover, self.source.name
        if self.of == "voltage":
            of, unit = "voltage", "V"
            takes = state("{mover}, which takes {input} along", mover=mover, input=taken)
        else:
            of, unit = "limit", "A"
            takes = state(
                "the current limit of {mover}, which takes that of {input}", mover=mover, input=taken
            )
        return state(
            "'{step}' sets {takes} from {before} to {after} (coupled by {by})",
            step=self.context.timeline.spans[self.step].name,
            takes=takes,
            before=named(f"{of}_before", self.before, unit),
            after=named(f"{of}_after", self.after, unit),
            by=dict(followers(self.context.bench, self.mover, self.of))[self.output].by,
        )

    @property
    def withstood(self) -> list[float]:
        """What it exceeds of what the input withstands for any time [V]: one voltage, or none."""
        withstands = self.source.input.withstands_always
        return [] if withstands is None or self.after <= withstands else [withstands]

    @property
    def above(self) -> bool:
        """Whether it is a higher current limit than the one that was settled, and judged."""
        feed = self.context.plan.set_points[self.source.name]
        return self.after > feed.limit + _slack(self.context, feed.names)


def _taken_along(context: Context) -> dict[str, list[_Moved]]:
    """Input -> every move of its voltage that comes with that of another one."""
    actions, coupled = context.timeline.actions, any(each.coupled for each in context.used_supplies.values())
    changes = moves_while_on(context.sources, context.bench, context.timeline) if coupled else ()
    return grouped(
        (
            name,
            _Moved(
                context,
                "voltage",
                context.sources[name],
                change.output,
                change.moved_by,
                actions[change.cause].step,
                before,
                after,
            ),
        )
        for name, change, taken, before, after in changes
        if taken and change.moved_by is not None
    )


@rule("coupled-withstand", Severity.STOP)
def coupled_withstand(context: Context) -> Outcome:
    """Coupled set points take an input to more than it withstands."""
    for name, moves in _taken_along(context).items():
        for first, withstands in [(each, most) for each in moves for most in each.withstood][:1]:
            yield Hit(
                name,
                first.path,
                state("{words}; it withstands {withstood}", words=first.words, withstood=(withstands, "V")),
                _REMEDY,
            )


@rule("coupled-moves", Severity.CAUTION)
def coupled_moves(context: Context) -> Outcome:
    """Coupled set points move an input that the procedure does not mean to move."""
    for name, moves in _taken_along(context).items():
        operating = context.sources[name].input.operating
        outside = [each for each in moves if each.after not in operating]
        first = (outside or moves)[0]
        more = (
            state("; it must work from {low} to {high}", low=(operating.low, "V"), high=(operating.high, "V"))
            if outside
            else state(", the first of {moves} such moves", moves=len(moves))
            if len(moves) > 1
            else ""
        )
        if not any(each.withstood for each in moves):
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
        yield Hit(
            fed[first],
            ("bench", "supplies", apart.supply, "coupled", apart.number),
            state(
                "the limit of {second} {words} that of {first} must be {wanted}, but the supply moves both "
                "together: from their lowest settings the {figure} can only be {reach}",
                second=second,
                words=words,
                first=first,
                wanted=(apart.wanted, unit),
                figure=figure,
                reach=reach,
            ),
            f"write limits that are so far apart, or {_REMEDY}",
        )
    yield from _not_as_told(context)


def _not_as_told(context: Context) -> Outcome:
    """An input of several coupled outputs, told a limit in a step: what is told to one moves another."""
    limits, feeds = context.timeline.limits, context.plan.set_points
    known = {source.name for source, _ in context.having("current_limit")}
    stands = settled_limits(feeds)
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


def _slack(context: Context, outputs: Iterable[OutputName]) -> float:
    """By how much the limit of outputs together may be off what it is told for their grids [A]."""
    return sum(limit_step(context.bench, each) for each in outputs) + EXACT


def _limits_moved(context: Context) -> Iterator[_Moved]:
    """Every current limit that another input's takes along while its input is on, or that it is switched on
    with.
    """
    if not any(each.moved_by for each in context.plan.limits):
        return
    timeline, feeds = context.timeline, context.plan.set_points
    known = {source.name for source, _ in context.having("current_limit")}
    asked = {name: feed.limit for name, feed in feeds.items()}
    stands, movers = dict(asked), dict[str, LimitAction]()

    def seen(name: str) -> Iterator[_Moved]:
        change = movers.get(name)
        if change is None or change.moved_by is None or name not in known:
            return
        if abs(stands[name] - asked[name]) > _slack(context, feeds[name].names):
            yield _Moved(
                context,
                "current_limit",
                context.sources[name],
                change.output,
                change.moved_by,
                timeline.limits[change.cause].step,
                asked[name],
                stands[name],
            )

    changes = deque(context.plan.limits)
    for number, (on, action) in enumerate(zip_longest(context.on, timeline.actions)):
        while changes and timeline.limits[changes[0].cause].before <= number:
            change = changes.popleft()
            name, stands[change.input] = change.input, change.whole
            if change.moved_by is None or timeline.limits[change.cause].input == name:
                asked[name] = change.whole
                movers.pop(name, None)
            else:
                movers[name] = change
                yield from seen(name) if name in on else ()
        if action is not None and action.kind == "on":
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
                limit=(context.plan.set_points[name].limit, "A"),
            ),
            _REMEDY,
        )


@rule("coupled-limit-moves", Severity.CAUTION)
def coupled_limit_moves(context: Context) -> Outcome:
    """Coupled current limits move that of an input that the procedure does not mean to move."""
    found = grouped((each.source.name, each) for each in _limits_moved(context))
    for name, moves in found.items():
        least = min(moves, key=lambda each: each.after)
        short = broken(current_limit.enough(least.source), least.after)
        more = (
            short.breach(least.after)[0]
            if short is not None
            else state("the lowest of {moves} such moves", moves=len(moves))
            if len(moves) > 1
            else ""
        )
        if not any(each.above for each in moves):
            yield Hit(name, least.path, joined("; ", filter(None, (least.words, more))), _REMEDY)


EXACT = 1e-9
"""By how much two sums of limits may differ and still be the same [A]."""

_REMEDY = "uncouple the outputs and remove 'coupled', or feed the input from an output that is not coupled"
