"""Rules about stop conditions: can they be reached, and does normal operation reach them?"""

from __future__ import annotations

from collections.abc import Iterator

from railwright.documents.procedure import StopCondition
from railwright.quantities import state
from railwright.settings.context import Context, FedInput
from railwright.settings.findings import Severity, least
from railwright.settings.rule import Hit, Outcome, Path, rule


def _conditions(context: Context) -> Iterator[tuple[Path, StopCondition, FedInput]]:
    for index, condition in enumerate(context.procedure.stop_when):
        if condition.input in context.sources:
            yield ("procedure", "stop_when", index), condition, context.sources[condition.input]


@rule("stop-out-of-reach", Severity.CAUTION, on_sheet=False)
def stop_out_of_reach(context: Context) -> Outcome:
    """A stop condition can never come true: a limit or a protection acts first."""
    for path, condition, source in _conditions(context):
        if (feed := context.feeds.get(condition.input)) is None:
            continue
        most = source.at_most(feed.limit)
        level = feed.ovp + (source.ovp_error or 0.0)
        why: str = ""
        if condition.current_above is not None and condition.current_above >= most:
            why = state(
                "{condition} is not below the current limit, {limit} with its error",
                condition=(condition.current_above, "A"),
                limit=(most, "A"),
            )
        elif condition.voltage_above is not None and condition.voltage_above >= min(level, source.reach):
            why = state(
                "{condition} is out of reach: {bound} {highest}",
                condition=(condition.voltage_above, "V"),
                bound="the OVP trips by" if level <= source.reach else "the outputs reach at most",
                highest=(min(level, source.reach), "V"),
            )
        elif condition.current_below is not None and condition.current_below <= 0:
            why = state(
                "the current does not fall below {condition}", condition=(condition.current_below, "A")
            )
        elif condition.voltage_below is not None and condition.voltage_below <= 0:
            why = state(
                "the voltage does not fall below {condition}", condition=(condition.voltage_below, "V")
            )
        if why:
            yield Hit(
                source.name,
                (*path, condition.kind),
                state("{why}: it never stops anything", why=why),
                "correct or remove the condition",
            )


@rule("stop-in-normal", Severity.CAUTION, on_sheet=False)
def stop_in_normal(context: Context) -> Outcome:
    """A stop condition comes true in normal operation."""
    # What is drawn in one step a rehearsal tells: rule stop-rehearsed.
    for path, condition, source in (each for each in _conditions(context) if each[1].during is None):
        why: str = ""
        if condition.current_above is not None and source.needs is not None:
            need, need_from, _ = source.needs
            if need > condition.current_above:
                why = state(
                    "{origin} is {needed}, above {condition}",
                    origin=need_from,
                    needed=(need, "A"),
                    condition=(condition.current_above, "A"),
                )
        elif condition.voltage_above is not None:
            above = source.played.longest_above(condition.voltage_above)
            if above > condition.duration:
                why = state(
                    "the procedure stays above {condition} for {duration}",
                    condition=(condition.voltage_above, "V"),
                    duration=(above, "s"),
                )
        elif condition.voltage_below is not None:
            below = [level for level in source.played.levels if level.voltage < condition.voltage_below]
            if below:
                why = state(
                    "'{step}' plays {level}, below {condition}",
                    step=below[0].step,
                    level=(below[0].voltage, "V"),
                    condition=(condition.voltage_below, "V"),
                )
        if why:
            yield Hit(
                source.name,
                (*path, condition.kind),
                state("{why}: the run would end early", why=why),
                "correct the condition",
            )


@rule("stop-unseen", Severity.CAUTION, on_sheet=False, worst=least("duration", over="interval"))
def stop_unseen(context: Context) -> Outcome:
    """A stop condition asks for a duration shorter than a reading takes: it is judged on one reading."""
    for path, condition, source in _conditions(context):
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
