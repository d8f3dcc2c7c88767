"""What rules look at one by one, and a rule's view of a constraint: does it hold for the value that is set,
and what is said if not.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator

from railwright.documents.bench import Output, Supply
from railwright.documents.device import NeverRule
from railwright.documents.output_name import OutputName
from railwright.plan.set_points import Feed
from railwright.settings.constraints.constraint import Constraint, Facts, broken
from railwright.settings.context import Context, FedInput
from railwright.settings.rule import Hit, Outcome, Path, Unknown


def inputs(context: Context) -> Iterator[tuple[FedInput]]:
    """Every input that is hooked up, for a rule that looks at each by itself."""
    return ((source,) for source in context.sources.values())


def outputs(context: Context) -> Iterator[tuple[FedInput, OutputName, Output]]:
    """Every output that is hooked up, with the input that it feeds."""
    return ((fed, name, output) for fed in context.sources.values() for name, output in fed.outputs.items())


def supplies(context: Context) -> Iterable[tuple[str, Supply]]:
    """Every supply that is used."""
    return context.used_supplies.items()


def kept_apart(context: Context) -> list[tuple[int, NeverRule, FedInput, FedInput]]:
    """What two inputs that are hooked up must never be to each other: number and rule, and its inputs."""
    return [
        (index, each, context.sources[each.voltage_of], context.sources[each.minus])
        for index, each in enumerate(context.device.never)
        if {each.voltage_of, each.minus} <= context.sources.keys()
    ]


def having(*settings: str) -> Callable[[Context], Iterable[tuple[FedInput, Feed]]]:
    """Every input of which these settings were settled, with its set points."""
    return lambda context: context.having(*settings)


def judged(
    source: FedInput, facts: Iterable[Constraint | Unknown], *values: tuple[float, Path], once: bool = False
) -> Outcome:
    """What is said of values that break one of these facts, each at its place, and of figures that lack;
    once: of the first of them alone.
    """
    found = list(facts)
    yield from (fact for fact in found if isinstance(fact, Unknown) and fact.check)
    worst = [(path, value, broken(found, value)) for value, path in values]
    hits = [Hit(source.name, path, *each.breach(value)) for path, value, each in worst if each is not None]
    yield from hits[:1] if once else hits


def settings_judged(
    context: Context, setting: str, facts: Callable[[FedInput, float | None], Facts]
) -> Outcome:
    """The same of a setting of every input that has it. facts: of an input and its current limit [A], None
    where that is not settled.
    """
    for source, feed in context.having(setting):
        value = feed.value(setting)
        if math.isfinite(value):
            limit = feed.limit if feed.has("current_limit") else None
            yield from judged(source, facts(source, limit), (value, (*source.at_limits, setting)))
