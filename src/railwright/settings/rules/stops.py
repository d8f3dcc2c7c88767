"""Rules about stop conditions: can they be reached, and does normal operation reach them?"""

from __future__ import annotations

from collections.abc import Iterator

from railwright.documents.procedure import StopCondition
from railwright.quantities import state
from railwright.settings.context import Context, Draw, FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rule import Hit, Outcome, Path, of_every, rule, with_seen


def _conditions(context: Context) -> Iterator[tuple[Path, StopCondition, FedInput]]:
    """Stop conditions of inputs that are hooked up: where each is written, and its input."""
    return (
        (("procedure", "stop_when", index), condition, context.sources[condition.input])
        for index, condition in enumerate(context.procedure.stop_when)
        if condition.input in context.sources
    )


@rule("stop-out-of-reach", Severity.CAUTION, on_sheet=False)
@of_every(with_seen(_conditions))
def stop_out_of_reach(context: Context, path: Path, condition: StopCondition, source: FedInput) -> Outcome:
    """A stop condition can never come true: a limit or a protection acts first."""
    if (feed := context.feeds.get(condition.input)) is None:
        return
    most = source.at_most(feed.limit)
    level = source.ovp_with_error(feed.ovp)
    why: str = ""
    match condition.bound:
        case ("current", "above", bound) if bound >= most:
            why = state(
                "{condition} is not below the current limit, {limit} with its error",
                condition=(bound, "A"),
                limit=(most, "A"),
            )
        case ("voltage", "above", bound) if bound >= min(level, source.reach):
            why = state(
                "{condition} is out of reach: {bound} {highest}",
                condition=(bound, "V"),
                bound="the OVP trips by" if level <= source.reach else "the outputs reach at most",
                highest=(min(level, source.reach), "V"),
            )
        case ("current", "below", bound) if bound <= 0.0:
            why = state("the current does not fall below {condition}", condition=(bound, "A"))
        case ("voltage", "below", bound) if bound <= 0.0:
            why = state("the voltage does not fall below {condition}", condition=(bound, "V"))
    if why:
        yield Hit(
            source.name,
            (*path, condition.kind),
            state("{why}: it never stops anything", why=why),
            "correct or remove the condition",
        )


@rule("stop-in-normal", Severity.CAUTION, on_sheet=False)
@of_every(_conditions)
def stop_in_normal(path: Path, condition: StopCondition, source: FedInput) -> Outcome:
    """A stop condition comes true in normal operation."""
    why: str = ""
    need, need_from, _ = source.needs or Draw(0.0, "", False)
    match condition.bound:
        case ("current", "above", bound) if source.needs is not None and need > bound:
            why = state(
                "{origin} is {needed}, above {condition}",
                origin=need_from,
                needed=(need, "A"),
                condition=(bound, "A"),
            )
        case ("voltage", "above", bound) if (
            above := source.played.longest_above(bound)
        ) > condition.duration:
            why = state(
                "the procedure stays above {condition} for {duration}",
                condition=(bound, "V"),
                duration=(above, "s"),
            )
        case ("voltage", "below", bound):
            below = [level for level in source.played.levels if level.voltage < bound]
            if below:
                why = state(
                    "'{step}' plays {level}, below {condition}",
                    step=below[0].step,
                    level=(below[0].voltage, "V"),
                    condition=(bound, "V"),
                )
    # What is drawn in one step a rehearsal tells: rule stop-rehearsed.
    if why and condition.during is None:
        yield Hit(
            source.name,
            (*path, condition.kind),
            state("{why}: the run would end early", why=why),
            "correct the condition",
        )


@rule(
    "stop-unseen", Severity.CAUTION, on_sheet=False, worst=Ranking("duration", over="interval", lowest=True)
)
@of_every(with_seen(_conditions))
def stop_unseen(context: Context, path: Path, condition: StopCondition, source: FedInput) -> Outcome:
    """A stop condition asks for a duration shorter than a reading takes: it is judged on one reading."""
    slowest = max([*source.updates, context.procedure.record.every])
    if 0 < condition.duration < slowest:
        yield Hit(
            source.name,
            (*path, "for"),
            state(
                "for {duration}; a reading comes every {interval}",
                duration=(condition.duration, "s"),
                interval=(slowest, "s"),
            ),
            "ask for one reading's time or more; a faster stop is the current limit's task",
        )
