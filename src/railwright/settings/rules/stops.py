"""Rules about stop conditions: can they be reached, and does normal operation reach them?"""

from __future__ import annotations

from collections.abc import Iterator

from railwright.documents.procedure import StopCondition
from railwright.quantities import show
from railwright.settings.context import Context
from railwright.settings.findings import Severity
from railwright.settings.rule import Hit, Outcome, Path, rule


def _conditions(context: Context) -> Iterator[tuple[Path, StopCondition]]:
    for index, condition in enumerate(context.procedure.stop_when):
        if condition.input in context.sources:
            yield ("procedure", "stop_when", index), condition


@rule("stop-out-of-reach", Severity.CAUTION, on_sheet=False)
def stop_out_of_reach(context: Context) -> Outcome:
    """A stop condition can never come true: a limit or a protection acts first."""
    for path, condition in _conditions(context):
        if condition.input not in context.feeds:
            continue
        source, feed = context.sources[condition.input], context.feeds[condition.input]
        most = source.at_most(source.limit(feed))
        level = source.ovp(feed) + (source.ovp_error or 0.0)
        why = ""
        if condition.current_above is not None and condition.current_above >= most:
            limited = f"the current limit, {show(most, 'A')} with its error"
            why = f"{show(condition.current_above, 'A')} is not below {limited}"
        elif condition.voltage_above is not None and condition.voltage_above >= min(level, source.reach):
            least = "the OVP trips by" if level <= source.reach else "the outputs reach at most"
            why = f"{show(condition.voltage_above, 'V')} is out of reach: {least} " + show(
                min(level, source.reach), "V"
            )
        elif condition.current_below is not None and condition.current_below <= 0:
            why = f"the current does not fall below {show(condition.current_below, 'A')}"
        elif condition.voltage_below is not None and condition.voltage_below <= 0:
            why = f"the voltage does not fall below {show(condition.voltage_below, 'V')}"
        if why:
            yield Hit(
                source.name,
                (*path, condition.kind),
                f"{why}: it never stops anything",
                "correct or remove the condition",
            )


@rule("stop-in-normal", Severity.CAUTION, on_sheet=False)
def stop_in_normal(context: Context) -> Outcome:
    """A stop condition comes true in normal operation."""
    for path, condition in _conditions(context):
        source = context.sources[condition.input]
        why = ""
        if condition.during is not None:
            continue  # what is drawn in one step a rehearsal tells: rule stop-rehearsed
        if condition.current_above is not None and source.needs is not None:
            need, need_from, _ = source.needs
            if need > condition.current_above:
                why = f"{need_from} is {show(need, 'A')}, above {show(condition.current_above, 'A')}"
        elif condition.voltage_above is not None:
            above = source.played.longest_above(condition.voltage_above)
            if above > condition.duration:
                why = f"the procedure stays above {show(condition.voltage_above, 'V')} for {show(above, 's')}"
        elif condition.voltage_below is not None:
            below = [level for level in source.played.levels if level.voltage < condition.voltage_below]
            if below:
                plays = f"'{below[0].step}' plays {show(below[0].voltage, 'V')}"
                why = f"{plays}, below {show(condition.voltage_below, 'V')}"
        if why:
            yield Hit(
                source.name,
                (*path, condition.kind),
                f"{why}: the run would end early",
                "correct the condition",
            )


@rule("stop-unseen", Severity.CAUTION, on_sheet=False)
def stop_unseen(context: Context) -> Outcome:
    """A stop condition asks for a duration shorter than a reading takes: it is judged on one reading."""
    for path, condition in _conditions(context):
        source = context.sources[condition.input]
        slowest = max([*source.updates, context.procedure.record.every])
        if 0 < condition.duration < slowest:
            yield Hit(
                source.name,
                (*path, "for"),
                f"for {show(condition.duration, 's')}; a reading comes every {show(slowest, 's')}",
                "ask for one reading's time or more; a faster stop is the current limit's task",
            )
